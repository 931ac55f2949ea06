"""Names in public: a number until a moderator accepts the text, and always for a closed account."""

import pytest
from django.test import Client
from django.urls import reverse

from results.accounts.close import close_account
from results.catalogue.accepted_names import accept_names, waiting_names
from results.jobs.queue import enqueue
from results.models import AcceptedName, Connection, Pool, PullSet
from results.worker import embedded
from rigs.refusals import Forbidden
from tests import making

pytestmark = pytest.mark.usefixtures("planted_past")

NAMES = {"rig": "shed winch", "label": "set 1", "spool": "reel of the blue box"}


@pytest.fixture
def pull_set(owner) -> PullSet:
    session = making.session(making.revision_of(owner))
    thin, thick = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, thin, spool=NAMES["spool"])
    found = making.joined(session, thin, thick, [80.0, 83.0, 81.0])
    PullSet.objects.filter(pk=found.pk).update(main_spool=NAMES["spool"])
    enqueue(session)
    embedded.drain()
    return found


def names_read_by(client, pull_set) -> set[str]:
    answer = client.get(f"/api/v1/sessions/{pull_set.session_id}").json()
    return {answer["rig"], answer["pull_sets"][0]["label"], answer["pull_sets"][0]["main_spool"]}


def test_a_name_is_read_by_everyone_once_a_moderator_accepts_it(
    pull_set, moderator, as_owner, as_stranger, as_other, as_moderator
):
    assert names_read_by(as_owner, pull_set) == set(NAMES.values())
    assert names_read_by(as_moderator, pull_set) == set(NAMES.values())
    for client in (as_stranger, as_other):
        answer = names_read_by(client, pull_set)
        assert {f"rig {pull_set.session.revision.rig_id}", f"set {pull_set.pk}"} < answer
        assert NAMES["spool"] not in answer
    for kind, text in NAMES.items():
        accept_names(moderator.user, AcceptedName.Kind(kind), [text])
    assert names_read_by(as_stranger, pull_set) == set(NAMES.values())
    assert {one.accepted_by for one in AcceptedName.objects.all()} == {moderator.user}


def test_a_closed_account_leaves_no_name_behind(pull_set, owner, as_stranger):
    for kind, text in NAMES.items():
        making.accept(kind, text)
    close_account(owner, keep=True)
    answer = names_read_by(as_stranger, pull_set)
    assert answer.isdisjoint(set(NAMES.values()) - {"set 1"})


def test_only_a_moderator_accepts_a_name(pull_set, owner):
    with pytest.raises(Forbidden):
        accept_names(owner.user, AcceptedName.Kind.RIG, [NAMES["rig"]])
    assert not AcceptedName.objects.exists()


def test_names_are_accepted_at_the_desk(pull_set, moderator, owner):
    desk, page = Client(), reverse("admin:results_acceptedname_changelist")
    desk.force_login(moderator.user)
    assert {(one.kind, one.text) for one in waiting_names()} == set(NAMES.items())
    assert NAMES["spool"] in desk.get(page).content.decode()
    accept = reverse("admin:results_acceptedname_accept")
    assert desk.post(accept, {"name": [f"rig {NAMES['rig']}"]}).status_code == 302
    assert AcceptedName.objects.get().accepted_by == moderator.user
    assert "rig" not in {one.kind for one in waiting_names()}
    owner.user.is_staff = True
    owner.user.save()
    desk.force_login(owner.user)
    assert desk.post(accept, {"name": [f"spool {NAMES['spool']}"]}).status_code == 403


def test_sets_of_a_proposed_join_count_in_public_once_it_is_accepted(
    pull_set, as_owner, as_moderator, as_stranger
):
    Connection.objects.update(name="Buy hooks at 12 Quay Lane", accepted=False)
    pool = Pool.objects.get()
    assert as_stranger.get("/api/v1/pools").json()["count"] == 0
    for address in ("", "/sets", "/tester-effects", "/versions", "/versions/1/changes"):
        assert as_stranger.get(f"/api/v1/pools/{pool.pk}{address}").status_code == 404
    answer = as_stranger.get(f"/api/v1/pull-sets/{pull_set.pk}").json()
    assert (answer["connection"], answer["pool"]) == (f"join {pool.connection_id}", None)
    accepted = {"accepted": True}
    address = f"/api/v1/connections/{pool.connection_id}"
    assert as_moderator.patch(address, accepted, format="json").status_code == 200
    assert pool.stale_marks.exists()
    embedded.drain()
    assert as_stranger.get("/api/v1/pools").json()["count"] == 1
