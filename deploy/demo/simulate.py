"""Draws the league's submissions from the invented scenario, so that tests know the truth.

`draw_world` gives every tester a rig, a calibration and sessions in the upload's document form;
`deploy.demo.suspects` the contributors a moderator should look at; `deploy.demo.truth` the true
values behind them. The scenario's field "model" says how pulls are drawn.
"""

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from deploy.demo.bench import Bench
from deploy.demo.scenario import (
    BULK,
    LINES,
    MODEL,
    PACE,
    SCENARIO,
    SECONDS_TO_TIE,
    TARGETS,
    Document,
    Target,
    line_strength,
)
from rigs.metrology.check_weight import check_weight_force
from rigs.metrology.gravity import local_gravity

CHECK_WEIGHTS_KG = (2.5, 5.0, 7.5, 10.0, 15.0, 20.0)
LATITUDE, HEIGHT_M = 55.0, 10.0
WINTER_BEGINS, WINTER_DAYS = date(2025, 10, 1), 175
CAPACITY = {"lbf": 66.0, "kgf": 30.0, "N": 500.0}

PROGRAMME = (
    (("shock-leader", "veyra-mono-35"), ("estuary-leader", "ostrel-fluoro-40")),
    (("estuary-leader", "ostrel-fluoro-40"), ("finesse-leader", "dunmere-braid-20")),
    (("pike-trace", "shock-leader"), ("estuary-leader", "ostrel-fluoro-40")),
)
"""By club: the line pairs and terminal lines of its sessions, taken in turn."""


def draw_world(
    rng: np.random.Generator, testers: int | None = None, targets: Sequence[str] | None = None
) -> list[Document]:
    """Submissions of the league's ten testers, or of ``testers``.

    With a number of `testers` the ten rigs are repeated under new handles and everybody's tying
    is drawn again around zero, as `truth` has it. `targets` restricts every session to these line
    pairs or terminal lines. A submission is a dict of handle, club, rig, calibration, sessions.
    """
    league = SCENARIO["testers"]
    if testers is None:
        return [draw_tester(rng, tester, targets) for tester in league]
    return [
        draw_tester(
            rng, _newcomer(rng, league[number % len(league)], number // len(league)), targets
        )
        for number in range(testers)
    ]


def draw_tester(
    rng: np.random.Generator, tester: Document, targets: Sequence[str] | None = None
) -> Document:
    """The whole submission of one tester, described as in the scenario."""
    programme = [targets] if targets else PROGRAMME[tester["club"]]
    return {
        "handle": tester["handle"],
        "club": SCENARIO["clubs"][tester["club"]],
        "rig": _rig(tester),
        "calibration": _calibration(rng, tester),
        "sessions": [
            _session(
                rng, tester, number, [TARGETS[name] for name in programme[number % len(programme)]]
            )
            for number in range(tester["sessions"])
        ],
    }


def _newcomer(rng: np.random.Generator, tester: Document, times_seen: int) -> Document:
    suffix = f"-{times_seen + 1}" if times_seen else ""
    tying_log = rng.normal(0.0, MODEL["tester_effect_sd_log"])
    return tester | {"handle": tester["handle"] + suffix, "tying_log": tying_log}


def _rig(tester: Document) -> Document:
    return {
        "name": f"{tester['handle']} bench",
        "load_generation": tester["load"],
        "reading": tester["reading"],
        "grip": tester["grip"],
        "unit": tester["unit"],
        "resolution": tester["step"],
        "capacity": CAPACITY[tester["unit"]],
        "free_length_m": 0.5,
        "latitude": LATITUDE,
        "height_m": HEIGHT_M,
    }


def _calibration(rng: np.random.Generator, tester: Document) -> Document:
    """Three rising series of check weights, read before the winter."""
    gravity = local_gravity(LATITUDE, HEIGHT_M)
    forces = [check_weight_force(mass, gravity=gravity).newtons for mass in CHECK_WEIGHTS_KG]
    bench = Bench(rng, tester, {})
    rows = [
        {"series": series, "mass_kg": mass, "reading": reading}
        for series in (1, 2, 3)
        for mass, reading in zip(CHECK_WEIGHTS_KG, bench.read(np.array(forces)), strict=True)
    ]
    return {
        "calibrated_on": (WINTER_BEGINS - timedelta(days=5)).isoformat(),
        "unit": tester["unit"],
        "tolerance_percent": 0.2,
        "how_known": "bought as",
        "rows": rows,
    }


def _session(
    rng: np.random.Generator, tester: Document, number: int, targets: list[Target]
) -> Document:
    bench = _bench_of_the_day(rng, tester, number, targets)
    effect = tester["tying_log"] + rng.normal(0.0, MODEL["session_effect_sd_log"])
    day = (number + rng.uniform(0.2, 0.8)) * WINTER_DAYS / tester["sessions"]
    tied = [(target, join) for target in targets for join in target.joins]
    return {
        "rig": f"{tester['handle']} bench",
        "revision": 1,
        "pulled_on": (WINTER_BEGINS + timedelta(days=int(day))).isoformat(),
        "state": "soaked" if tester.get("wet", False) else "dry",
        "loading": "static",
        "unit": tester["unit"],
        "baselines": _baselines(bench, targets),
        "pull_sets": [
            {"label": f"set {n}"} | _pull_set(bench, target, join, effect)
            for n, (target, join) in enumerate(tied, start=1)
        ],
    }


def _bench_of_the_day(
    rng: np.random.Generator, tester: Document, number: int, targets: list[Target]
) -> Bench:
    drift = np.exp(tester.get("drift_log_per_session", 0.0) * number)
    lines = dict.fromkeys(line for target in targets for line in target.lines)
    of_the_day = np.exp(rng.normal(0.0, MODEL["line_session_sd_log"], len(lines)))
    strengths = {
        line: line_strength(line, tester.get("wet", False)) * shift
        for line, shift in zip(lines, of_the_day, strict=True)
    }
    return Bench(rng, tester | {"gain": tester["gain"] * drift}, strengths)


def _baselines(bench: Bench, targets: list[Target]) -> list[Document]:
    """Before the joins; testers with many sessions pull straight line again afterwards."""
    positions = ("before", "after") if bench.tester["sessions"] >= 4 else ("before",)
    pulls = max(6, bench.tester["pulls"])
    lines = dict.fromkeys(line for target in targets for line in target.straight_lines)
    return [
        {
            "line": line,
            "spool": "A",
            "position": position,
            "pulls": bench.straight_pulls(line, pulls),
        }
        for position in positions
        for line in lines
    ]


def _measured(tester: Document, target: Target, join: str) -> Document:
    """Time to tie and diameter, of those who measure them."""
    pace = PACE.get(tester["handle"])
    if pace is None:
        return {}
    thicker = max(LINES[line]["diameter_mm"] for line in target.lines)
    diameter = {"join_diameter_mm": round(BULK[join] * thicker, 2)} if join in BULK else {}
    return {"time_to_tie_s": SECONDS_TO_TIE[join] * pace, **diameter}


def _pull_set(bench: Bench, target: Target, join: Document, effect: float) -> Document:
    tester = bench.tester
    discarded = int(bench.rng.binomial(tester["pulls"], tester.get("discarded_share", 0.0)))
    efficiency = target.efficiency(join, tester.get("wet", False)) * np.exp(effect)
    cv = join["cv_join"] * tester.get("cv_join_factor", 1.0)
    own = bench.ties(bench.strengths[target.reference] * efficiency, cv, tester["pulls"], discarded)
    return {
        "connection": join["name"],
        "doubled": join["parameters"].get("doubled", False),
        "main": {"line": target.main, "spool": "A"},
        "leader": {"line": target.leader, "spool": "A"} if target.leader else None,
        "terminal": "" if target.leader else "hook",
        "parameters": {k: v for k, v in join["parameters"].items() if k != "doubled"},
        "tyer": "",
        "discarded_ties": discarded,
        **_measured(tester, target, join["name"]),
        "pulls": bench.joined_pulls(target, own, join.get("slip_share", {}).get(target.id, 0.0)),
    }
