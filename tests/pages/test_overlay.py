"""The set's page lays the traces of its pulls over one another, from zero to break."""

import copy
import re

import numpy as np
import pytest

from results.models import PullSet
from results.pages.planes import Plane
from results.worker.embedded import drain
from tests.intake.conftest import RIGHT, bench, send
from tests.traces import trace

__all__ = ["bench", "send"]


@pytest.fixture
def recorded(send) -> PullSet:
    """A set of which every pull but the void one has a trace, as its straight line has."""
    document = copy.deepcopy(RIGHT)
    for part in (*document["baselines"], *document["pull_sets"]):
        for pull in part["pulls"]:
            if "reading" in pull:
                peak = float(str(pull.pop("reading")).replace(",", "."))
                pull["trace"] = trace(peak, unit="lbf", rate=4.0)
    pull_set = send(document).session.pull_sets.get()
    drain()
    return pull_set


def test_all_pulls_are_laid_over_one_another_with_their_straight_line(recorded, read):
    page = read(f"/pull-sets/{recorded.pk}/")
    assert "Force over time" in page.text
    drawn = page.all("polyline")
    assert len(drawn) == 7
    groups = [each["class"] for each in page.all("g") if "class" in each]
    assert groups == ["straight"] * 3 + ["straight at-least"] + ["joined"] * 3
    # Each begins near zero at the left, where the axes meet, and the highest is the highest pull.
    starts = [tuple(map(float, each["points"].split()[0].split(","))) for each in drawn]
    assert {x for x, _ in starts} == {34.0}
    assert min(y for _, y in starts) > 180
    tops = [float(each["cy"]) for each in page.all("circle")]
    assert min(tops) == tops[1] == 14.0


def test_the_numbers_of_pulls_stand_in_the_order_of_their_peaks(send, read):
    """Peaks so near to one another that numbers have to move aside: none beside another's peak."""
    document = copy.deepcopy(RIGHT)
    peaks = (15.2, 15.9, 15.4, 16.1, 15.0)
    document["pull_sets"][0]["pulls"] = [
        {"failure_mode": "join", "trace": trace(peak, unit="lbf", rate=4.0)} for peak in peaks
    ]
    pull_set = send(document).session.pull_sets.get()
    page = read(f"/pull-sets/{pull_set.pk}/")
    overlay = page.text.partition("Force over time")[2]
    numbers = re.findall(r"\b[1-5]\b", overlay.partition("Each pull")[0])[-5:]
    assert numbers == ["4", "2", "3", "1", "5"]


def test_a_set_without_traces_has_no_such_picture(send, read):
    pull_set = send(copy.deepcopy(RIGHT)).session.pull_sets.get()
    assert "Force over time" not in read(f"/pull-sets/{pull_set.pk}/").text


def test_no_peak_is_lost_however_many_samples_there_are():
    times, forces = np.arange(20_000) / 1000, np.zeros(20_000)
    forces[12_345], forces[77] = 50.0, -3.0
    plane = Plane((0.0, 20.0), (-10.0, 90.0), 300.0, 100.0)
    places = [tuple(map(float, each.split(","))) for each in plane.line(times, forces).split()]
    assert len(places) < 1000
    assert min(y for _, y in places) == plane.y(50.0) == 40.0
    assert max(y for _, y in places) == plane.y(-3.0) == 93.0
    assert [x for x, _ in places] == sorted(x for x, _ in places)
