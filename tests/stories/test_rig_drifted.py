"""Has my rig drifted? Straight line by session, the change with its interval, the sets affected."""

import random
from math import log, sqrt

import numpy as np
import pytest
from django.test import Client

from results.models import Notice, PullSet
from tests import making
from tests.stories.bench import JOINED_N, STRAIGHT_N, register, send, session

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(as_owner) -> dict:
    making.accept("spool", "A")
    making.line("thin"), making.line("thick", label_N=180), making.connection()
    return register(as_owner)


def shifted(loads_N, factor: float) -> list[float]:
    return [factor * load for load in loads_N]


@pytest.fixture
def drifted(rig, as_owner, drain) -> dict:
    """Five sessions alike, then one in which the scale reads a fourteenth low."""
    for day, factor in enumerate((1.0, 1.003, 0.998, 1.001, 0.999, 0.93)):
        order = random.Random(day)  # the same order times a factor is no day of its own
        straight_N, joined_N = (order.sample(each, len(each)) for each in (STRAIGHT_N, JOINED_N))
        send(as_owner, session(day, shifted(straight_N, factor), shifted(joined_N, factor)))
    drain()
    return rig


def watched(client, rig: dict, kind: str = "straight line") -> dict:
    [found] = [
        one for one in client.get(f"/api/v1/rigs/{rig['id']}/watch").json() if one["kind"] == kind
    ]
    return found


def test_the_chart_signals_at_the_session_that_reads_low_and_at_no_other(drifted, as_stranger):
    series = watched(as_stranger, drifted)
    assert series["what"] == "thin, spool A"
    assert [one["signals"] for one in series["sessions"]] == [False] * 5 + [True]


def test_each_session_shows_its_change_since_the_first_with_an_interval(drifted, as_stranger):
    [first, *others, last] = watched(as_stranger, drifted)["sessions"]
    assert first["since_first"] is None
    change = last["since_first"]
    assert change["percent"] == pytest.approx(-7.0, abs=0.01)
    # By hand: CV 1.581 percent of 98, 101, 99, 102, 100; one percent from day to day. The five
    # differences of successive sessions over that, worth 50 / 14 degrees of freedom, are shrunk to
    # 1 with 6; five changes at 95 percent together (Dunnett 1955), by simulation.
    usual = 2 * (0.0158114**2 / 5 + 0.01**2)
    steps = np.diff(np.log([1.0, 1.003, 0.998, 1.001, 0.999, 0.93]))
    own = 50 / 14
    factor = (6 + own * np.mean(steps**2 / usual)) / (6 + own)
    half = largest_of_five(6 + own) * sqrt(factor * usual)
    assert log(1 + change["upper"] / 100) - log(1 + change["percent"] / 100) == pytest.approx(
        half, rel=0.01
    )
    assert all(one["since_first"]["lower"] < 0 < one["since_first"]["upper"] for one in others)


def largest_of_five(freedom: float) -> float:
    """The 95th percentile of the largest of five t's that share the first session's error."""
    rng = np.random.default_rng(16)
    drawn = rng.normal(size=(200_000, 6))
    scale = np.sqrt(rng.chisquare(freedom, 200_000) / freedom)
    return float(np.quantile(np.abs(drawn[:, 1:] - drawn[:, :1]).max(1) / sqrt(2) / scale, 0.95))


def test_the_sets_affected_are_listed_and_their_tester_is_notified_once(
    drifted, as_stranger, as_owner, owner, drain
):
    pull_set = PullSet.objects.get(label="blood, day 5")
    [affected] = watched(as_stranger, drifted)["affected_sets"]
    assert affected.endswith(f"/api/v1/pull-sets/{pull_set.pk}")
    [notice] = Notice.objects.filter(to=owner, text__contains="signals")
    assert notice.pull_set == pull_set
    assert "thin, spool A" in notice.text

    calibrate(as_owner, drifted)
    drain()
    assert Notice.objects.filter(to=owner, text__contains="at the session of 2026-01-15").exists()


def calibrate(client, rig: dict) -> None:
    points = [
        {"mass": f"{mass} kg", "how_known": "certified", "reading": f"{mass * 9.8:.1f} N"}
        for mass in (0, 5, 10, 20)
    ]
    address = f"/api/v1/revisions/{rig['revisions'][0]['id']}/calibrations"
    answer = client.post(address, {"made_on": "2026-01-01", "points": points}, format="json")
    assert answer.status_code == 201, answer.json()


def test_a_rig_that_stays_put_signals_nowhere(rig, as_owner, as_stranger, drain):
    for day in range(4):
        send(as_owner, session(day, shifted(STRAIGHT_N, 1 + 0.002 * (-1) ** day)))
    drain()
    assert not any(one["signals"] for one in watched(as_stranger, rig)["sessions"])
    assert not Notice.objects.filter(text__contains="signals").exists()


def test_the_tie_has_a_chart_of_its_own_beside_the_straight_line(drifted, as_stranger):
    series = watched(as_stranger, drifted, "join")
    assert series["what"] == "Blood, thin to thick"
    assert series["per_session"]["lower"] < series["per_session"]["percent"] < 0


def test_the_chart_is_a_drawing_at_an_address_that_stays_when_sessions_are_added(
    drifted, as_owner, as_stranger, drain
):
    address = watched(as_stranger, drifted)["chart"]
    before = Client().get(address)
    assert before["Content-Type"] == "image/svg+xml"
    assert b"2026-01-15" in before.content
    send(as_owner, session(8))
    drain()
    assert watched(as_stranger, drifted)["chart"] == address
    assert Client().get(address).content != before.content
    picture = Client().get(address.replace(".svg", ".png"))
    assert picture.content.startswith(b"\x89PNG")


def test_wet_line_and_another_spool_are_series_of_their_own(rig, as_owner, as_stranger, drain):
    for day, state in enumerate(("dry", "soaked", "dry", "soaked")):
        factor = 0.9 if state == "soaked" else 1.0  # nylon soaked through
        straight_N = random.Random(day).sample(STRAIGHT_N, len(STRAIGHT_N))
        send(as_owner, session(day, shifted(straight_N, factor), state=state))
    drain()
    answer = as_stranger.get(f"/api/v1/rigs/{rig['id']}/watch").json()
    straight = [one for one in answer if one["kind"] == "straight line"]
    assert [one["what"] for one in straight] == ["thin, spool A", "thin, spool A, soaked"]
    assert not any(session["signals"] for one in straight for session in one["sessions"])


def test_the_page_of_the_rig_says_so_in_words(drifted):
    answer = Client().get(f"/rigs/{drifted['id']}/").content.decode()
    assert "The chart of thin, spool A signals at 15 Jan 2026." in answer
    assert "-7.0%" in answer
