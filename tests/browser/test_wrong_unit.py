"""Story 7 as a tester lives it: pounds entered as kilograms are corrected, and nothing is lost."""

import re

import pytest
from playwright.sync_api import expect

from results.models import Session
from results.worker.embedded import drain
from tests.browser.test_bench import as_person
from tests.intake.conftest import bench, sheet

__all__ = ["as_person", "bench"]


def check(page, text: str, name: str = "day.csv") -> None:
    sent = {"name": name, "mimeType": "text/csv", "buffer": text.encode()}
    page.set_input_files("#file", sent)
    page.get_by_role("button", name="Check it").click()


def test_pounds_entered_as_kilograms_are_corrected_and_the_old_version_is_kept(
    transactional_db, owner, bench, as_person, look
):
    """Story 7."""
    page = as_person(owner)
    page.goto("/upload/")
    bench.capacity_N, bench.capacity_written = 900, "900 N"
    bench.save()
    check(page, sheet().replace(",lbf,", ",kgf,"))
    looked_at = page.locator("#report input[type=checkbox]")
    if looked_at.count():
        looked_at.first.check()
    page.get_by_role("button", name=re.compile("^Store it")).first.click()
    drain()
    wrong = Session.objects.get()
    mean_N = wrong.pull_sets.get().normalised.mean_N

    look(f"/sessions/{wrong.pk}/", name="session-to-correct")
    page.get_by_role("link", name="Send the corrected file").click()
    check(page, sheet())
    page.get_by_label("What was wrong").fill("pounds entered as kilograms")
    looked_at = page.locator("#report input[type=checkbox]")
    if looked_at.count():
        looked_at.first.check()
    page.get_by_role("button", name="Store it as the correction").click()
    page.wait_for_url("**/jobs/*/")
    drain()
    right = Session.objects.get(standing="current")
    assert right.pull_sets.get().normalised.mean_N == pytest.approx(mean_N / 2.20462, rel=1e-4)

    look(f"/sessions/{wrong.pk}/", name="session-replaced")
    expect(page.get_by_text("pounds entered as kilograms")).to_be_visible()
    page.get_by_role("link", name="the version after").click()
    expect(page).to_have_url(re.compile(f"/sessions/{right.pk}/$"))
    page.goto(f"/pools/{right.pull_sets.get().normalised.pool_id}/")
    expect(page.get_by_role("heading", name="Double uni").first).to_be_visible()
