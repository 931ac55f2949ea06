"""Privacy in a browser: read what is kept, report a rig, take one's own data along, and leave."""

import zipfile

import pytest

from tests import making
from tests.browser.test_bench import as_person

__all__ = ["as_person"]


@pytest.fixture
def rig(transactional_db, owner):
    making.revision_of(owner)
    return owner.rigs.get()


def test_a_reader_reads_what_is_kept_and_reports_a_rig(transactional_db, rig, page, look):
    look(f"/rigs/{rig.pk}/").click("text=Report this to a moderator")
    look("", "report-form")
    page.fill("textarea", "The name of this rig is that of my neighbour.")
    page.click("text=Send the report")
    assert "A moderator will look at it" in look("", "reported").inner_text("main")
    page.click("footer >> text=Privacy")
    assert "Having it removed" in look("", "privacy").inner_text("main")


def test_a_tester_takes_the_data_along(transactional_db, rig, owner, page, as_person, look):
    as_person(owner)
    look("/account/", "account-with-data")
    with page.expect_download() as download:
        page.click("text=Download it")
    with zipfile.ZipFile(download.value.path()) as archive:
        assert "shed winch" in archive.read("rigs.Rig.json").decode()
