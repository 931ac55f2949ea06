"""`manage.py verify` proves a whole store, and names the one row that is not as it was."""

import json
from io import StringIO

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.db.models import F
from django.test.utils import CaptureQueriesContext

from deploy.verifying.figures import wrong_figures
from results import intake
from results.accounts.close import close_account
from results.accounts.erase import erase_row
from results.intake.amend import withdraw
from results.models import (
    AuditLink,
    Message,
    NormalisedSet,
    Pool,
    Pull,
    PullSet,
    StateChange,
    Upload,
)
from results.models.audit_chain import FIRST, seal
from results.review.decisions import answer, decide
from results.worker import embedded
from tests import making
from tests.people import contributor
from tests.results.test_closing_at_once import document
from tests.rewriting import rewriting

pytestmark = pytest.mark.django_db


@pytest.fixture
def league(owner, moderator):
    """Four testers in one pool: a set of the last held and asked about, a session withdrawn."""
    making.line("thin"), making.line("thick", label_N=180), making.connection("Blood")
    people = [owner, *(contributor(f"tester {number}") for number in range(3))]
    for person in people:
        making.revision_of(person)
        sent = intake.receive(person, document("shed winch", 10), intake.JSON, None).session
    twin = intake.receive(people[1], document("shed winch", 12), intake.JSON, None).session
    embedded.drain()
    withdraw(twin, people[1], "the scale stuck")
    held = sent.pull_sets.first()
    decide(by=moderator.user, pull_set=held, decision="hold", reason="which spool?")
    answer(by=people[-1].user, pull_set=held, text="the second one from Hilda")
    embedded.drain()
    assert seal() > 20
    assert seal() == 0
    return people


def verified(*options: str) -> str:
    """What is said of a store in order."""
    said = StringIO()
    call_command("verify", *options, stdout=said)
    return said.getvalue()


def faults(*options: str) -> list[str]:
    """The faults that are named."""
    said = StringIO()
    with pytest.raises(CommandError, match="The store has"):
        call_command("verify", *options, stdout=said)
    return [line for line in said.getvalue().splitlines() if not line.endswith("faults")][:-1]


def test_one_reading_changed_among_all_is_found_by_the_bytes_and_by_the_figures(league):
    assert verified().splitlines()[:6] == [
        "bytes and pulls: no faults",
        "states: no faults",
        "rounds: no faults",
        "chain: no faults",
        "reports of rounds: no faults",
        "figures: no faults",
    ]
    pulled = Pull.objects.filter(failure_mode="join", pull_set__state=PullSet.State.POOLED)
    changed = pulled.order_by("pk")[3]
    sets = [*changed.pull_set.session.pull_sets.order_by("pk").values_list("pk", flat=True)]
    part = changed.pull_set.session.baselines.count() + sets.index(changed.pull_set_id) + 1
    with rewriting():
        Pull.objects.filter(pk=changed.pk).update(reading_N=F("reading_N") * 1.001)
    session = changed.pull_set.session_id
    assert faults("--without-figures") == [
        f"session {session}: pull {changed.number} of part {part} is not what its bytes say"
    ]
    assert any("does not follow from its pulls" in fault for fault in faults())


def test_a_set_whose_pulls_come_to_no_strength_any_more_is_named_and_the_rest_is_proven(league):
    pools_of_two_kinds(league)
    first_pool, second_pool = Pool.objects.order_by("current")
    emptied = PullSet.objects.filter(normalised__pool=first_pool, state="pooled").first()
    other = PullSet.objects.filter(normalised__pool=second_pool, state="pooled").first()
    with rewriting():
        Pull.objects.filter(pull_set=emptied).update(failure_mode="void")
        NormalisedSet.objects.filter(pull_set=other).update(
            mean_N=F("mean_N") * 1.001, missed_peak_log=0.01
        )
    assert list(map(str, wrong_figures())) == [
        f"pool {first_pool.pk}, version {first_pool.current.number}: can no longer be computed "
        "from its pulls",
        f"pull set {other.pk}: mean_N does not follow from its pulls",
        f"pull set {other.pk}: missed_peak_log does not follow from its pulls",
    ]


def test_a_pool_or_an_upload_more_takes_no_query_more(league):
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            verified()
        return len(asked)

    before, pools, uploads = queries(), Pool.objects.count(), Upload.objects.count()
    pools_of_two_kinds(league)
    assert (Pool.objects.count(), Upload.objects.count()) == (pools + 1, uploads + 4)
    assert queries() == before


def pools_of_two_kinds(league) -> None:
    """Another pool beside that of the league."""
    making.connection("Surgeon")
    for person in league:
        other = json.loads(document("shed winch", 20))
        for pull_set in other["pull_sets"]:
            pull_set["connection"] = "Surgeon"
        intake.receive(person, json.dumps(other).encode(), intake.JSON, None)
    embedded.drain()
    seal()


REWRITTEN = {
    "the bytes": (
        lambda: Upload.objects.filter(pk=first(Upload)).update(body=b"{}"),
        ["upload {0}: its bytes are not those of its sum"],
    ),
    "the bytes, gone": (
        lambda: Upload.objects.filter(pk=first(Upload)).update(body=b""),
        ["upload {0}: its bytes are gone, and no erasure says so"],
    ),
    "the bytes and their sum": (
        lambda: Upload.objects.filter(pk=first(Upload)).update(sha256="0" * 64),
        ["upload {0}: its bytes are not those of its sum", "results.Upload {0}: is not as it was"],
    ),
    "a decision": (
        lambda: StateChange.objects.filter(pk=last_decision()).update(to_state="withdrawn"),
        ["is held; its last change says withdrawn", "is not as it was sealed"],
    ),
    "its reason": (
        lambda: StateChange.objects.filter(pk=last_decision()).update(reason="it was good"),
        ["has other words than when it was sealed"],
    ),
    "its reason, blanked by nobody": (
        lambda: StateChange.objects.filter(pk=last_decision()).update(reason=""),
        ["has other words than when it was sealed"],
    ),
    "a decision deleted": (
        lambda: StateChange.objects.filter(pk=last_decision()).delete(),
        ["is held; its last change says pooled", "is gone since it was sealed"],
    ),
    "a state": (
        lambda: PullSet.objects.filter(state="held").update(state="released"),
        ["is released; its last change says held"],
    ),
    "a link": (
        lambda: AuditLink.objects.filter(pk=AuditLink.objects.all()[5].pk).delete(),
        ["does not follow the link before"],
    ),
    "a figure of a set": (
        lambda: NormalisedSet.objects.filter(pull_set__state="pooled").update(mean_N=50.0),
        ["mean_N does not follow from its pulls"],
    ),
}
"""By what is rewritten: how, and the faults that it comes to."""


def first(model) -> int:
    return model.objects.order_by("pk").first().pk


def last_decision() -> int:
    return StateChange.objects.exclude(by=None).filter(to_state="held").latest("pk").pk


def test_whatever_is_rewritten_is_found(league):
    missed, upload = {}, first(Upload)
    for what, (rewrite, expected) in REWRITTEN.items():
        with transaction.atomic():
            with rewriting():
                rewrite()
            found = faults() if "figure" in what else faults("--without-figures")
            wanted = [each.format(upload) for each in expected]
            if not all(any(each in fault for fault in found) for each in wanted):
                missed[what] = found
            transaction.set_rollback(True)
    assert missed == {}


def test_what_the_erasing_verb_blanks_breaks_no_chain_and_can_not_be_guessed(league, moderator):
    admin = User.objects.create_superuser("keeper")
    change = StateChange.objects.get(pk=last_decision())
    erase_row(change, by=admin, reason="names a neighbour", only=["reason"])
    close_account(league[-1], keep=True)
    close_account(league[1], keep=False)
    embedded.drain()
    seal()
    assert "chain: no faults" in verified()
    assert not AuditLink.objects.get(subject="results.StateChange", row=change.pk).salt
    said = Message.objects.get(by=league[-1].user)
    link = AuditLink.objects.get(subject="results.Message", row=said.pk)
    assert (said.text, bytes(link.salt)) == ("", b"")


def test_links_follow_one_another_from_the_first_and_no_two_the_same(league):
    links = list(AuditLink.objects.order_by("pk"))
    assert [link.previous for link in links] == [FIRST, *(link.hash for link in links[:-1])]
    assert {link.subject for link in links} == {
        *("results.Message", "results.PoolVersion", "results.StateChange", "results.Upload")
    }
