"""What was entered wrongly of a rig is corrected and voided from the rig's page."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from results.models import NormalisedSet
from results.worker.embedded import drain
from rigs.models import Calibration, RigRevision
from tests.browser.test_tester import rig, tester
from tests.people import client_of
from tests.stories.bench import send, session
from tests.stories.test_entered_wrongly import calibrated

__all__ = ["rig", "tester"]


@pytest.fixture
def wrong(rig, tester) -> dict:
    """A calibration whose zero is ten newtons off, and a session worked out by it."""
    made = calibrated(client_of(tester), rig["revisions"][0]["id"], zero_N=10.0)
    send(client_of(tester), session())
    drain()
    return made


def test_a_calibration_is_corrected_and_voided_from_the_rigs_page(wrong, rig, page, look):
    look(f"/rigs/{rig['id']}/")
    page.get_by_role("link", name="Correct the calibration of 1 Dec 2025").click()
    look(name="correct-calibration")
    # What was entered stands there, to be corrected.
    assert page.get_by_label("Check weight").first.input_value() == "0 kg"
    page.get_by_label("What was wrong").fill("the scale was not tared")
    for number, reading in enumerate(("0 N", "49.03 N", "98.07 N", "196.13 N")):
        page.get_by_label("Reading").nth(number).fill(reading)
    page.get_by_role("button", name="Correct").click()
    expect(page.get_by_text("the scale was not tared")).to_be_visible()
    drain()
    old, new = Calibration.objects.order_by("pk")
    assert (old.standing, new.standing) == ("replaced", "current")
    assert NormalisedSet.objects.get().calibration == new

    page.get_by_role("link", name="Void the calibration of 1 Dec 2025").click()
    look(name="void-calibration")
    page.get_by_label("What was wrong").fill("it was another scale")
    page.get_by_role("button", name="Void").click()
    expect(page.get_by_text("Not calibrated.")).to_be_visible()
    look(name="voided-calibration")
    drain()
    assert NormalisedSet.objects.get().calibration is None


def test_a_revision_is_corrected_and_one_that_sessions_stand_on_is_not_voided(
    wrong, rig, tester, page, look
):
    change = {"made_on": "2026-01-12", "what_changed": "jaws", "why": "slip", "first_grip": "jaws"}
    client_of(tester).post(f"/api/v1/rigs/{rig['id']}/revisions", change, format="json")
    look(f"/rigs/{rig['id']}/")
    page.get_by_role("link", name="Correct revision 1").click()
    look(name="correct-revision")
    page.get_by_label("What was wrong").fill("it shows halves of a pound")
    page.get_by_label("Resolution").fill("0.5 lbf")
    page.get_by_role("button", name="Correct").click()
    expect(page.get_by_text("in steps of 0.5 lbf")).to_be_visible()

    page.get_by_role("link", name="Void revision 1").click()
    page.get_by_label("What was wrong").fill("never so")
    page.get_by_role("button", name="Void").click()
    expect(page.get_by_text("Sessions stand on this revision, 1 of them.")).to_be_visible()
    page.get_by_role("link", name="Back to the rig").click()
    page.get_by_role("link", name="Void revision 2").click()
    look(name="void-revision")
    page.get_by_label("What was wrong").fill("I never fitted jaws")
    page.get_by_role("button", name="Void").click()
    expect(page.get_by_text("Revision 2 was voided")).to_be_visible()
    look(name="voided-revision")
    assert list(RigRevision.objects.order_by("number").values_list("standing", flat=True)) == [
        "current",
        "voided",
    ]
