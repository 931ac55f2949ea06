"""The invented league can be trusted as a known truth: simple figures come back from it."""

import numpy as np
import pytest

from deploy.demo.scenario import LINES, SCENARIO
from deploy.demo.simulate import draw_tester, draw_world
from deploy.demo.suspects import draw_suspects
from deploy.demo.truth import truth
from rigs.metrology.calibration import calibration_line
from rigs.metrology.units import FORCE_UNITS, parse_force

NEWTONS_OF_A_KILOGRAM_AT_55_NORTH = 9.8150 * (1 - 1.2 / 8000)  # WGS 84 and OIML R 111


@pytest.fixture
def rng():
    return np.random.default_rng(20251001)


def described(handle, **changes):
    return next(t for t in SCENARIO["testers"] if t["handle"] == handle) | changes


def straight(session, line):
    """Readings in newtons of the pulls that parted in the free length."""
    return [
        pull["reading"] * FORCE_UNITS[session["unit"]]
        for baseline in session["baselines"]
        for pull in baseline["pulls"]
        if baseline["line"] == line and pull["failure_mode"] == "line"
    ]


def joined(session, connection, leader):
    return [
        pull["reading"] * FORCE_UNITS[session["unit"]]
        for pull_set in session["pull_sets"]
        for pull in pull_set["pulls"]
        if pull_set["connection"] == connection and (pull_set["leader"] or {}).get("line") == leader
    ]


def line_of(submission):
    calibration = submission["calibration"]
    masses = np.array([row["mass_kg"] for row in calibration["rows"]])
    readings = np.array([row["reading"] for row in calibration["rows"]])
    return calibration_line(
        masses * NEWTONS_OF_A_KILOGRAM_AT_55_NORTH, readings * FORCE_UNITS[calibration["unit"]]
    )


def efficiencies(submission, connection, leader, line):
    return [
        np.mean(joined(session, connection, leader)) / np.mean(straight(session, line))
        for session in submission["sessions"]
    ]


def test_a_rig_that_reads_a_tenth_low_shows_it_in_newtons_and_not_in_its_ratio(rng):
    quernstone = described("quernstone", pulls=400, sessions=20, tying_log=0.0, grip_break_rate=0.0)
    submission = draw_tester(rng, quernstone, ["shock-leader"])
    sessions = submission["sessions"]
    mean = np.mean([np.mean(straight(session, "veyra-mono-35")) for session in sessions])
    assert mean == pytest.approx(0.9 * LINES["veyra-mono-35"]["true_strength_N"], rel=0.01)
    ratios = efficiencies(submission, "Double uni", "veyra-mono-60", "veyra-mono-35")
    assert np.mean(ratios) == pytest.approx(0.74, rel=0.012)


@pytest.mark.parametrize("handle", [t["handle"] for t in SCENARIO["testers"]])
def test_each_calibration_shows_the_gain_and_the_zero_error_of_the_rig(rng, handle):
    rig = described(handle)
    line = line_of(draw_tester(rng, rig))
    assert abs(line.gain - rig["gain"]) < 4 * line.u_gain + 0.001
    assert abs(line.offset_N - rig["offset_N"]) < 4 * line.u_offset_N + 0.1


def test_only_the_rigs_with_a_zero_error_show_one(rng):
    with_offset = {
        submission["handle"]
        for submission in draw_world(rng)
        if abs(line_of(submission).offset_N) > 3 * line_of(submission).u_offset_N
    }
    assert with_offset == {"northmark", "oxbow"}


def test_a_fading_battery_lowers_the_straight_line_session_by_session(rng):
    submission = draw_tester(rng, described("marram", pulls=50), ["shock-leader"])
    means = [np.mean(straight(session, "veyra-mono-35")) for session in submission["sessions"]]
    slope = np.polyfit(range(len(means)), np.log(means), 1)[0]
    assert slope == pytest.approx(-0.035, abs=0.015)


def test_a_large_world_recovers_the_true_efficiency_of_every_join_of_a_pair(rng):
    world = draw_world(rng, testers=100, targets=["shock-leader"])
    dry = [
        w for w in world if w["sessions"][0]["state"] == "dry" and abs(line_of(w).offset_N) < 1.5
    ]
    for join in ("Double uni", "Surgeon's", "Blood", "Leader hitch over needle"):
        logs = [
            np.mean(np.log(efficiencies(w, join, "veyra-mono-60", "veyra-mono-35"))) for w in dry
        ]
        se = np.std(logs, ddof=1) / len(logs) ** 0.5
        true = truth()[join, "shock-leader", "dry"].assembly
        assert abs(np.mean(logs) - np.log(true)) < 3.5 * se
        assert np.std(logs, ddof=1) == pytest.approx(0.05, abs=0.012)


def test_a_join_stronger_than_its_line_mostly_breaks_the_line(rng):
    submission = draw_tester(rng, described("lowtide", pulls=400), ["finesse-leader"])
    pulls = [
        pull
        for session in submission["sessions"]
        for pull_set in session["pull_sets"]
        for pull in pull_set["pulls"]
        if pull_set["connection"] == "FG"
    ]
    assert np.mean([pull["failure_mode"] == "line" for pull in pulls]) > 0.6
    assert {pull["place"] for pull in pulls if pull["failure_mode"] == "line"} <= {"main", "leader"}
    true = truth()["FG", "finesse-leader", "dry"]
    assert true.assembly < 1 < true.join


def test_one_wire_tie_in_ten_slips_and_the_truth_of_the_assembly_counts_it(rng):
    submission = draw_tester(
        rng, described("pikeperch", pulls=800, sessions=12, tying_log=0.0), ["pike-trace"]
    )
    modes = [
        pull["failure_mode"]
        for session in submission["sessions"]
        for pull in session["pull_sets"][0]["pulls"]
    ]
    assert modes.count("slip") / len(modes) == pytest.approx(0.1, abs=0.015)
    ratios = efficiencies(submission, "Albright", "tarrick-wire-30", "tarrick-wire-30")
    true = truth()["Albright", "pike-trace", "dry"].assembly
    assert np.mean(ratios) == pytest.approx(true, rel=0.015)


def test_who_soaks_the_line_says_so_and_nylon_is_a_tenth_weaker(rng):
    wet = draw_tester(rng, described("skerrowmaid", pulls=200), ["shock-leader"])
    assert {session["state"] for session in wet["sessions"]} == {"soaked"}
    mean = np.mean([np.mean(straight(session, "veyra-mono-35")) for session in wet["sessions"]])
    assert mean == pytest.approx(0.9 * 92.0 * 1.01, rel=0.015)


def test_every_session_has_a_baseline_of_each_reference_line_and_falls_in_the_winter(rng):
    references = {pair["leader"]: pair["reference"] for pair in SCENARIO["line_pairs"]}
    for submission in draw_world(rng):
        dates = [session["pulled_on"] for session in submission["sessions"]]
        assert dates == sorted(dates)
        assert all("2025-10-01" <= day < "2026-04-01" for day in dates)
        for session in submission["sessions"]:
            baselines = {b["line"]: len(b["pulls"]) for b in session["baselines"]}
            for pull_set in session["pull_sets"]:
                leader = (pull_set["leader"] or {}).get("line")
                assert baselines[references.get(leader, pull_set["main"]["line"])] >= 5


def test_the_doubled_palomar_says_so_in_its_own_field(rng):
    sets = [s for w in draw_world(rng) for session in w["sessions"] for s in session["pull_sets"]]
    assert {s["doubled"] for s in sets if s["connection"] == "Palomar"} == {True}
    assert {s["doubled"] for s in sets if s["connection"] != "Palomar"} == {False}
    assert not any("doubled" in s["parameters"] for s in sets)


def test_the_same_random_state_draws_the_same_world():
    first, again, other = (draw_world(np.random.default_rng(s), testers=12) for s in (7, 7, 8))
    assert first == again
    assert first != other
    assert len({submission["handle"] for submission in first}) == 12


def test_each_suspect_shows_what_it_is_suspected_of(rng):
    suspects = draw_suspects(rng)
    tidy = suspects["tidycopy"]["sessions"][0]
    assert len({tuple(p["reading"] for p in s["pulls"]) for s in tidy["pull_sets"]}) == 1
    ratio = np.mean(straight(suspects["pounds"]["sessions"][0], "veyra-mono-35")) / np.mean(
        straight(suspects["pounds"]["sessions"][2], "veyra-mono-35")
    )
    assert ratio == pytest.approx(1, abs=0.05)
    pounds = suspects["pounds"]["sessions"][1]
    assert np.mean(straight(pounds, "ostrel-fluoro-40")) == pytest.approx(98 / 4.448, rel=0.05)
    short = suspects["shortbase"]["sessions"][0]
    label = parse_force(LINES["veyra-mono-35"]["label"]).newtons
    assert np.mean(straight(short, "veyra-mono-35")) == pytest.approx(0.7 * label, rel=0.04)
    assert np.mean(joined(short, "Blood", "veyra-mono-60")) / (0.7 * label) > 1.3


def test_the_old_hand_is_well_above_the_middle_of_the_league_in_every_join(rng):
    old, league = draw_suspects(rng)["oldhand"], draw_world(rng, targets=["shock-leader"])
    dry = [w for w in league if w["sessions"][0]["state"] == "dry"]
    session = old["sessions"][0]
    for join in ("Double uni", "Surgeon's", "Blood"):
        own = np.mean(joined(session, join, "veyra-mono-60")) / np.mean(
            straight(session, "veyra-mono-35")
        )
        others = [np.mean(efficiencies(w, join, "veyra-mono-60", "veyra-mono-35")) for w in dry]
        assert own > np.median(others) * 1.03
