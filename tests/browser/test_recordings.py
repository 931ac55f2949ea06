"""A recording in a browser: its picture, the form beside each pull, and the session it becomes."""

from playwright.sync_api import expect

from results.models import Session
from results.worker.embedded import drain
from tests.browser.test_bench import as_person
from tests.intake.conftest import bench
from tests.pages.test_recordings_page import ENDS, PEAKS, naming, recording

__all__ = ["as_person", "bench"]


def test_a_recording_is_shown_named_checked_and_stored(
    transactional_db, owner, bench, as_person, look
):
    page = as_person(owner)
    look("/recordings/")
    # A gap, and a load cell at its limit.
    lines = recording((*PEAKS, 14.9)).splitlines()
    del lines[170:230]
    text = "\n".join(lines).encode()
    page.set_input_files("#file", {"name": "shed.csv", "mimeType": "text/csv", "buffer": text})
    page.get_by_role("button", name="Show it").click()
    expect(page.get_by_role("heading", name="Name the pulls")).to_be_visible()
    look(name="recording to be named")
    page.select_option("#id_rig", label="shed winch")
    for name, value in naming(ends=(*ENDS, "join")).items():
        field = page.locator(f"#id_{name}")
        if name != "rows" and field.evaluate("each => each.tagName") == "SELECT":
            field.select_option(value)
        elif name != "rows":
            field.fill(value)
    page.locator("#id_p8-end").select_option("")
    page.get_by_role("button", name="Check it").click()
    expect(page.get_by_text("Choose how it ended, or leave the pull out.")).to_be_visible()
    look(name="recording with a pull not named")
    page.locator("#id_p8-of").select_option("out")
    page.get_by_role("button", name="Check it").click()
    expect(page.get_by_text("It can be stored.")).to_be_visible()
    look(name="recording checked")
    page.get_by_role("button", name="Store it").click()
    expect(page.get_by_text("waiting to be processed")).to_be_visible()
    drain()
    look(f"/pull-sets/{Session.objects.get().pull_sets.get().pk}/", name="set of a recording")
