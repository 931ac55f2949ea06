"""Readings that can hardly be right are asked about before anything is stored."""

import copy
import json

import pytest

from results import intake
from results.pages.rigs.forms import CheckWeightForm, RigForm
from tests.intake.conftest import RIGHT, bench, sheet
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.pages.test_upload_page import check

__all__ = ["bench"]


def test_a_slipped_decimal_point_is_asked_about_and_storing_needs_a_second_look(owner, bench):
    page = Page(check(browser(owner), sheet().replace(",16,join", ",45,join")))
    assert "Please look at these before you store it." in page.text
    assert "45, 2.9 times the middle of its series" in page.text
    [looked_at] = page.all("input", name="looked_at")
    assert "required" in looked_at
    fine = Page(check(browser(owner), sheet()))
    assert fine.all("input", name="looked_at") == []


@pytest.mark.parametrize(
    ("part", "pull", "reading", "said"),
    [
        ("baselines", 0, 50.0, "2.43 times the middle"),
        ("baselines", 0, 2.05, "0.104 times the middle"),
        ("pull_sets", 1, 45.0, "2.9 times the middle of its series"),
        ("pull_sets", 1, 28.0, "pull 2: 28.0, 137% of the straight line"),
        ("pull_sets", 1, 17.0, ""),
    ],
)
def test_a_reading_far_from_its_series_is_asked_about(as_owner, bench, part, pull, reading, said):
    session = copy.deepcopy(RIGHT)
    session[part][0]["pulls"][pull]["reading"] = reading
    answer = as_owner.post("/api/v1/sessions?dry_run=true", session, format="json").json()
    found = [warning["found"] for warning in answer["warnings"]]
    assert any(said in each for each in found) if said else found == [], found


def test_a_set_well_above_its_straight_line_is_asked_about(owner, bench):
    session = copy.deepcopy(RIGHT)
    for pull in session["pull_sets"][0]["pulls"][:3]:
        pull["reading"] = 33.0
    preview = intake.dry_run(owner, json.dumps(session).encode(), intake.JSON)
    assert [finding.found for finding in preview.asked] == [
        "a middle reading at 161% of the straight line's"
    ]


@pytest.mark.parametrize("form", [RigForm(), CheckWeightForm()])
def test_no_form_preselects_what_an_overlooked_choice_would_get_wrong(form):
    """Every choice that describes a rig or a weight begins with none chosen."""
    chosen = {
        name: field.choices[0][0]
        for name, field in form.fields.items()
        if hasattr(field, "choices") and name != "direction"
    }
    assert set(chosen.values()) == {""}
