"""The league's spring round with its truth: eight testers, four samples, two of them twice.

Blood and Double uni on one spool of shock leader, each tied centrally and by every tester. The rigs
were calibrated before the winter, and what a calibration doesn't show (a rig that jerks, a scale
that misses the peak) is the rig's effect here; a tester's hand is the tying of the scenario.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from deploy.demo.bench import Bench
from deploy.demo.scenario import SCENARIO, TARGETS, Document, line_strength
from results.statistics.failure_modes import exact_for_assembly
from results.statistics.rounds.observations import Observations, Sample
from rigs.metrology.units import FORCE_UNITS

PULLED = date(2026, 3, 28)
TARGET = TARGETS["shock-leader"]
SPOOL = "spring"
TIES, STRAIGHT_PULLS = 6, 6
STATE, WET = "soaked", True
"""The league pulled these joins dry but for one tester: the round gives the wet ones a figure, and
leaves the dry ones as the winter had them."""
DUPLICATE = 100
"""What a hidden duplicate has beyond the number of its sample."""
SET_SD_LOG = 0.01
RIG_LOG = {
    "sandgrain": 0.0,
    "northmark": 0.03,
    "lowtide": 0.0,
    "quernstone": -0.06,
    "marram": 0.01,
    "reedmace": 0.0,
    "oxbow": -0.04,
    "pikeperch": 0.02,
}
"""What each participant's rig reads too high, ln, beyond what its calibration corrects."""


@dataclass(frozen=True)
class SpringSample:
    """A sample by its number in the round; a hidden duplicate has the number plus `DUPLICATE`."""

    number: int
    connection: str
    tied_centrally: bool
    hidden_twice: bool

    @property
    def numbers(self) -> tuple[int, ...]:
        return (self.number, self.number + DUPLICATE) if self.hidden_twice else (self.number,)


SAMPLES = (
    SpringSample(1, "Blood", tied_centrally=True, hidden_twice=True),
    SpringSample(2, "Double uni", tied_centrally=True, hidden_twice=False),
    SpringSample(3, "Blood", tied_centrally=False, hidden_twice=True),
    SpringSample(4, "Double uni", tied_centrally=False, hidden_twice=False),
)


def participants() -> list[Document]:
    """The participants as the scenario describes them."""
    return [tester for tester in SCENARIO["testers"] if tester["handle"] in RIG_LOG]


def hand_log(tester: Document) -> float:
    """What a tester's own ties hold more than the organiser's, ln."""
    return float(tester["tying_log"])


def draw_session(rng: np.random.Generator, tester: Document, codes: Mapping[int, str]) -> Document:
    """A participant's session as it is sent: straight line of both spools and a set for each code.

    ``codes`` has the code under which the tester got each sample, hidden duplicates by their own
    numbers.
    """
    gain = tester["gain"] * np.exp(RIG_LOG[tester["handle"]])
    strengths = {line: line_strength(line, wet=WET) for line in TARGET.lines}
    bench = Bench(rng, tester | {"gain": gain}, strengths)
    sets = [
        {"sample": codes[number], "pulls": _pulls(bench, sample)}
        for sample in SAMPLES
        for number in sample.numbers
    ]
    return {
        "rig": f"{tester['handle']} bench",
        "revision": 1,
        "pulled_on": PULLED.isoformat(),
        "state": STATE,
        "loading": "static",
        "unit": tester["unit"],
        "baselines": [
            {"line": line, "spool": SPOOL, "pulls": bench.straight_pulls(line, STRAIGHT_PULLS)}
            for line in TARGET.lines
        ],
        "pull_sets": [sets[place] for place in rng.permutation(len(sets))],
    }


def _pulls(bench: Bench, sample: SpringSample) -> list[Document]:
    join = next(join for join in TARGET.joins if join["name"] == sample.connection)
    effect, cv = SET_SD_LOG * bench.rng.normal(), join["cv_join"]
    if not sample.tied_centrally:
        effect += hand_log(bench.tester)
        cv *= bench.tester.get("cv_join_factor", 1.0)
    mean_N = bench.strengths[TARGET.reference] * TARGET.efficiency(join, wet=WET) * np.exp(effect)
    own = bench.ties(mean_N, cv, TIES, discarded=0)
    return bench.joined_pulls(TARGET, own, slip_share=0.0)


def observations(rng: np.random.Generator) -> Observations:
    """The whole round as its report takes it, every force as the tester's calibration has it."""
    codes = {number: str(number) for sample in SAMPLES for number in sample.numbers}
    rows = [
        row
        for person, tester in enumerate(participants(), start=1)
        for row in _rows(person, tester, draw_session(rng, tester, codes))
    ]
    participant, sample, load_N, mode = zip(*rows, strict=True)
    return Observations(
        samples=tuple(_handed_out()),
        participants=tuple(range(1, len(RIG_LOG) + 1)),
        participant=participant,
        sample=sample,
        load_N=load_N,
        at_least=~exact_for_assembly(mode),
    )


def _handed_out() -> Iterable[Sample]:
    for sample in SAMPLES:
        for number in sample.numbers:
            repeats = None if number == sample.number else sample.number
            yield Sample(number, sample.tied_centrally, repeats)


def _rows(
    person: int, tester: Document, session: Document
) -> Iterable[tuple[int, int, float, str]]:
    for pull_set in session["pull_sets"]:
        for pull in pull_set["pulls"]:
            shown_N = pull["reading"] * FORCE_UNITS[tester["unit"]]
            load_N = (shown_N - tester["offset_N"]) / tester["gain"]
            yield person, int(pull_set["sample"]), load_N, pull["failure_mode"]
