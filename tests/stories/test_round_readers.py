"""Who reads what of a closed round: nobody is found out by the public, and few testers are few."""

import json

import numpy as np
import pytest
from django.test import Client

from results.models import (
    PullSet,
)
from results.rounds.closing import close
from results.worker.round_reports import make_round_reports
from tests import playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.people import client_of
from tests.stories.test_round_afterwards import (
    _nothing_waits_for_a_second_look,
    done,
    organiser,
    testers,
)

__all__ = ["_nothing_waits_for_a_second_look", "done", "organiser", "testers"]
pytestmark = pytest.mark.usefixtures("planted_past")


# ---- what the public can find out ----


def linked(report: dict, sets: list[dict]) -> set[tuple[int, str]]:
    """Every number of a participant that can be laid beside a handle, by what both say.

    A report's numbers are laid beside public sets by any figure that they share: means, counts of
    pulls in samples, and the places of lists that have as many items as there are participants.
    """
    found = set()
    means = {round(one["mean_N"], 6): one["tester"] for one in sets}

    def walk(node, number=None):
        if isinstance(node, dict):
            number = node.get("participant", number)
            for each in node.values():
                walk(each, number)
        elif isinstance(node, list):
            for place, each in enumerate(node):
                inside = number if number is not None else place
                walk(each, inside)
        elif isinstance(node, float):
            owner = next((who for mean, who in means.items() if abs(mean - node) < 1e-4), None)
            if owner is not None and number is not None:
                found.add((number, owner))

    walk(report)
    return found


def naming(node, path="") -> set[str]:
    """Members that name participants one by one, wherever they stand."""
    if isinstance(node, dict):
        own = {f"{path}.{name}" for name in node if name in ("participant", "participants")
               and not isinstance(node[name], int)} | (
            {f"{path}.participant"} if "participant" in node else set())  # fmt: skip
        return own.union(*(naming(each, f"{path}.{name}") for name, each in node.items()), set())
    if isinstance(node, list):
        return set().union(*(naming(each, path) for each in node), set())
    return set()


def public_sets(client) -> list[dict]:
    return [
        client.get(f"/api/v1/pull-sets/{pk}").json()
        for pk in PullSet.objects.values_list("pk", flat=True)
    ]


def test_nothing_public_lays_a_participants_number_beside_a_handle(done, testers, as_stranger):
    """The attack works on the report of those in the round, so that it would find a link."""
    sets = [
        {"tester": one.session.contributor.handle, "mean_N": np.mean(loads)}
        for one in PullSet.objects.select_related("session__contributor")
        for loads in [[pull.reading_N for pull in one.pulls.all()]]
    ]
    whole = client_of(testers[0]).get(f"/api/v1/rounds/{done.pk}/report").json()
    assert {who for _, who in linked(whole["report"], sets)} >= {"ringer 3", "ringer 4"}
    assert {one["handle"] for one in whole["participants"]} == {one.handle for one in testers}
    for reader in (as_stranger, client_of(playing.member("passer-by"))):
        public = reader.get(f"/api/v1/rounds/{done.pk}/report").json()
        assert linked(public["report"], sets) == set()
        assert naming(public["report"]) == set()
        assert naming(public["changes"]) == set()
        assert public["participants"] == []
        for number in range(1, 5):
            document = json.dumps(public["report"])
            assert f'"participant": {number}' not in document
    numbers = {one.number: one.contributor.handle for one in done.participants.all()}
    assert len(numbers) == 4
    for address in (f"/rounds/{done.pk}/report/", f"/rounds/{done.pk}/", "/rounds/"):
        page = Page(Client().get(address))
        assert not any(handle in page.text for handle in numbers.values()), address
    for one in public_sets(as_stranger):
        assert "participant" not in json.dumps(one)


def test_those_in_the_round_are_told_before_they_enter_who_reads_what(organiser, testers):
    for client, address in ((browser(testers[0]), "/rounds/"),):
        assert "read each other's results by handle" in Page(client.get(address)).text
    made, _ = playing.opened(organiser, testers)
    assert "read each other's results" in Page(browser(testers[0]).get(f"/rounds/{made.pk}/")).text


# ---- what can be said of two, three and four ----


@pytest.mark.parametrize("people", [2, 3, 4])
def test_of_few_testers_every_page_says_what_can_t_be_said(organiser, testers, people):
    made, entered = playing.opened(organiser, testers[:people])
    for number, participant in enumerate(entered):
        playing.sends(participant, load_N=80.0 + number)
    close(organiser, made)
    make_round_reports()
    club = Page(browser(testers[0]).get(f"/rounds/{made.pk}/report/")).text
    own = Page(browser(testers[0]).get(f"/rounds/{made.pk}/report/mine/")).text
    assert "Repeatability, reproducibility, h and k need 6 participants" in club
    assert f"this sample has {people}" in club
    assert "Repeatability standard deviation" not in club
    if people == 2:
        assert "A robust mean needs 3 participants: this sample has 2." in club
        assert "fewer than three" in own
        assert "too few" in own
        assert "by z" not in club
    else:
        assert "fewer than 10: the round's value is itself uncertain" in club
        assert "by z′" in club
        assert "decides in place of z" in own
    assert "None" not in club + own


def test_who_sent_nothing_reads_that_and_not_a_table_of_nothing(organiser, testers):
    made, entered = playing.opened(organiser, testers)
    for participant in entered[1:]:
        playing.sends(participant)
    close(organiser, made)
    make_round_reports()
    own = Page(browser(testers[0]).get(f"/rounds/{made.pk}/report/mine/")).text
    assert "No result of yours counts in this round" in own
    assert "3 testers sent results" in own
    assert "Sample by sample" not in own
    assert "calibrated" in Page(browser(testers[1]).get(f"/rounds/{made.pk}/report/mine/")).text
