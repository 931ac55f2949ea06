"""/rounds: a club's round from its plan to the report, and what stays hidden meanwhile."""

import json
from dataclasses import replace

import pytest
from django.test import Client

from api.rounds import PLAN
from results.models import Round
from results.rounds import selectors
from tests import making, playing
from tests.people import client_of


@pytest.fixture
def plan(db) -> dict:
    lines = [making.line("thin"), making.line("thick", label_N=180)]
    join = making.connection("Blood")
    lots = [
        {"line": line.pk, "spool": spool}
        for line, spool in zip(lines, playing.SPOOLS.values(), strict=True)
    ]
    samples = [sample | {"connection": join.pk} for sample in PLAN.value["samples"]]
    return PLAN.value | {"lots": lots, "samples": samples}


@pytest.fixture
def organiser(db):
    return playing.member("organiser")


@pytest.fixture
def testers(db):
    found = [playing.member(f"tester {number}") for number in range(3)]
    for tester in found:
        playing.lent_rig(tester)
    return found


def test_a_round_is_lived_by_the_api_alone(plan, organiser, testers, drain, as_stranger):
    as_organiser = client_of(organiser)
    made = as_organiser.post("/api/v1/rounds", plan, format="json")
    assert made.status_code == 201, made.json()
    here = f"/api/v1/rounds/{made.json()['id']}"
    clients = [client_of(tester) for tester in testers]
    code = {"entry_code": made.json()["entry_code"]}
    for client in clients:
        entered = client.post("/api/v1/rounds/entries", code, format="json").json()
        assert (entered["title"], entered["late"]) == ("Spring round", False)
    assert as_organiser.post(f"{here}/opening").json()["state"] == "open"
    assert len(as_organiser.post(f"{here}/packing-list").json()) == 9
    for number, client in enumerate(clients):
        codes = client.get(f"{here}/codes").json()
        assert [one["sample"] is None for one in codes].count(True) == 2
        document = playing.session([one["code"] for one in codes], load_N=80.0 + number)
        sent = client.post("/api/v1/sessions", document, format="json")
        assert (sent.status_code, sent.json()["state"]) == (201, "sealed")
    who = as_organiser.get(f"{here}/participants").json()
    assert [(one["sent"], one["codes"]) for one in who] == [(3, 3)] * 3
    assert [one["handle"] for one in who] == [tester.handle for tester in testers]
    assert as_stranger.get(f"{here}/report").status_code == 404
    assert clients[0].post(f"{here}/closing").status_code == 403
    assert as_organiser.post(f"{here}/closing").json()["state"] == "closed"
    drain()
    report = as_stranger.get(f"{here}/report").json()
    assert (report["number"], report["report"]["sent"]) == (1, 3)
    mine = clients[0].get(f"{here}/my-report").json()
    assert mine["own"]["participant"] == mine["participant"]
    assert as_organiser.get(f"{here}/my-report").status_code == 403
    assert as_organiser.post(f"{here}/closing").status_code == 409
    listed = as_stranger.get("/api/v1/rounds").json()["results"]
    (one,) = listed
    assert (one["title"], one["participants"]) == (f"round {report['round']} of Harbour Club", 3)


def test_a_plan_is_refused_with_everything_wrong_and_changed_until_opened(
    plan, organiser, as_other
):
    client = client_of(organiser)
    wrong = plan | {"lots": [{"line": 10**9, "spool": "reel"}], "packer": 10**9}
    refused = client.post("/api/v1/rounds", wrong, format="json").json()
    fields = {each["field"] for each in refused["findings"]}
    assert {"line", "packer"} <= fields
    assert as_other.post("/api/v1/rounds", plan, format="json").status_code == 403
    made = client.post("/api/v1/rounds", plan, format="json").json()
    samples = f"/api/v1/rounds/{made['id']}/samples"
    assert client.put(samples, plan | {"title": "Autumn round"}, format="json").status_code == 200
    assert len(client.get(samples).json()) == 2
    assert as_other.get(samples).json() == []
    assert as_other.put(samples, plan, format="json").status_code == 403
    assert Round.objects.get().title == "Autumn round"


def test_a_sealed_session_is_taken_back_by_its_sender_alone(organiser, testers):
    made, (first, *_) = playing.opened(organiser, testers)
    sealed = playing.sends(first).row
    address = f"/api/v1/sealed-sessions/{sealed.pk}"
    assert client_of(testers[1]).delete(address).status_code == 404
    mine = client_of(testers[0])
    assert mine.get(f"/api/v1/rounds/{made.pk}/sealed").json()[0]["state"] == "sealed"
    assert mine.delete(address).status_code == 204
    assert mine.delete(address).status_code == 409


def everything_told_to(client, made: Round) -> str:
    """All that the addresses of a round, and of what could be made of it, say to somebody."""
    here = f"/api/v1/rounds/{made.pk}"
    addresses = [f"{here}{part}" for part in ("", "/samples", "/participants", "/codes", "/sealed",
                 "/report", "/my-report")]  # fmt: skip
    addresses += ["/api/v1/rounds", "/api/v1/sessions", "/api/v1/pools", "/api/v1/lines",
                  "/api/v1/notices", "/", "/feeds/", "/search/?q=Zq"]  # fmt: skip
    return "\n".join(client.get(address).content.decode() for address in addresses)


def test_before_the_close_nobody_is_told_what_a_hidden_sample_is_or_what_was_sent(
    organiser, testers, moderator, as_stranger
):
    plan = playing.draft(packer=moderator)
    hidden = replace(plan.samples[0], specification="ZqHidden seven turns")
    made, entered = playing.opened(
        organiser, testers, packer=moderator, samples=[hidden, *plan.samples[1:]]
    )
    for number, participant in enumerate(entered):
        playing.sends(participant, load_N=71.7 + number, note="ZqNote")
    # The markers are there to be found: the organiser sees their own plan.
    assert "ZqHidden" in everything_told_to(client_of(organiser), made)
    administrator = Client()
    moderator.user.is_staff = moderator.user.is_superuser = True
    moderator.user.save()
    administrator.force_login(moderator.user, backend="django.contrib.auth.backends.ModelBackend")
    tables = ("roundsample", "roundspecimen", "sealedsession", "roundset", "roundlot")
    desk = "\n".join(
        administrator.get(f"/admin/results/{table}/").content.decode() for table in tables
    )
    sealed = selectors.sealed_of(entered[0]).get()
    desk += administrator.get(f"/admin/results/sealedsession/{sealed.pk}/change/").content.decode()
    for reader in (as_stranger, client_of(testers[0]), client_of(testers[1])):
        shown_to_them = everything_told_to(reader, made)
        assert "ZqHidden" not in shown_to_them
        assert "ZqNote" not in shown_to_them
    assert "ZqNote" not in desk
    assert "ZqHidden" not in desk
    for specimen in entered[0].specimens.all():
        assert specimen.code not in desk
        assert f"{specimen.code[:4]}-{specimen.code[4:]}" not in everything_told_to(
            client_of(testers[1]), made
        )
    told_to_organiser = everything_told_to(client_of(organiser), made)
    assert "ZqNote" not in told_to_organiser
    assert entered[0].specimens.first().code[:4] not in told_to_organiser
    assert json.dumps(71.7) not in told_to_organiser
