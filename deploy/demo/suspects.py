"""Four contributors whose submissions a moderator should look at: three wrong, one only unusual."""

from collections.abc import Callable

import numpy as np

from deploy.demo.scenario import LINES, SCENARIO, Document, line_strength
from deploy.demo.simulate import draw_tester
from rigs.metrology.units import parse_force

INVENTED_JOIN_N = (70.0, 70.5, 71.0, 70.5, 70.0)
INVENTED_LINE_N = (95.0, 95.5, 95.0, 94.5, 95.0)


def draw_suspects(rng: np.random.Generator) -> dict[str, Document]:
    """The suspects' submissions by handle, in the form of `draw_world`'s."""
    return {handle: draw(rng, _tester(handle)) for handle, draw in SUSPECTS.items()}


def _tester(handle: str) -> Document:
    ordinary = next(t for t in SCENARIO["testers"] if t["handle"] == "pikeperch")
    return dict(ordinary) | {"handle": handle, "club": 0, "tying_log": 0.0}


def _invents_pulls(rng: np.random.Generator, tester: Document) -> Document:
    """A scale of 0.1 N, readings in halves of a newton, the same five under every join."""
    submission = draw_tester(rng, tester | {"unit": "N", "step": 0.1}, ["shock-leader"])
    for session in submission["sessions"]:
        for pulls in _pulls(session, "baselines"):
            _write(pulls, INVENTED_LINE_N, "line")
        for pulls in _pulls(session, "pull_sets"):
            _write(pulls, INVENTED_JOIN_N, "join")
    return submission


def _enters_pounds(rng: np.random.Generator, tester: Document) -> Document:
    """The second session of three is in pounds-force and says newtons."""
    submission = draw_tester(rng, tester | {"unit": "N", "step": 0.5})
    in_pounds = draw_tester(rng, tester | {"unit": "lbf", "step": 0.1})
    submission["sessions"][1] = in_pounds["sessions"][1] | {"unit": "N"}
    return submission


def _pulls_another_spool(rng: np.random.Generator, tester: Document) -> Document:
    """Straight line from a spool that parts 30 percent under its label, recorded as the same."""
    submission = draw_tester(rng, tester)
    for session in submission["sessions"]:
        for baseline in session["baselines"]:
            label_N = parse_force(LINES[baseline["line"]]["label"]).newtons
            share = 0.7 * label_N / line_strength(baseline["line"], wet=False)
            for pull in baseline["pulls"]:
                pull["reading"] = round(pull["reading"] * share, 1)
    return submission


def _ties_well(rng: np.random.Generator, tester: Document) -> Document:
    """Honest: a strong and even tyer on a good rig."""
    rig = {"unit": "N", "step": 0.1, "noise_N": 0.1, "grip_break_rate": 0.0, "sessions": 4}
    return draw_tester(rng, tester | rig | {"tying_log": 0.09, "cv_join_factor": 0.6, "pulls": 12})


SUSPECTS: dict[str, Callable[[np.random.Generator, Document], Document]] = {
    "tidycopy": _invents_pulls,
    "pounds": _enters_pounds,
    "shortbase": _pulls_another_spool,
    "oldhand": _ties_well,
}


def _pulls(session: Document, kind: str) -> list[list[Document]]:
    return [entry["pulls"] for entry in session[kind]]


def _write(pulls: list[Document], readings: tuple[float, ...], mode: str) -> None:
    for number, pull in enumerate(pulls):
        pull["reading"] = readings[number % len(readings)]
        pull["failure_mode"] = mode
        if "place" in pull:
            pull["place"] = ""
