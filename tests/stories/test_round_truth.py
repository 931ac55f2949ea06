"""Rounds with a known truth go the whole way, and rigs and hands are found where they were put.

The draw is another's than the methods' (`deploy.benchmarks.truth`): t4 rigs and hands, Weibull
joins, dial scales whose zero is off, weak grips, and testers who send nothing.
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from deploy.benchmarks.truth.rows.club_rounds import CASES, SAMPLES, DrawnRound, draw
from results.models import Round, RoundParticipant
from results.rounds import selectors
from results.rounds.allocating import open_round
from results.rounds.closing import close
from results.rounds.entering import enter
from results.rounds.receiving import receive
from results.rounds.set_up import set_up
from results.worker.round_reports import make_round_reports
from tests import playing

pytestmark = pytest.mark.slow

ROUNDS = 10
WORLD = CASES["ten, t4, all at once"]
DUPLICATE = {5: (1, 2), 6: (3, 2)}
"""By the draw's samples, the sample and copy in the round; others are what they are called."""


@pytest.fixture
def testers(db):
    found = [playing.member(f"tester {number}") for number in range(WORLD.participants)]
    for tester in found:
        playing.lent_rig(tester)
    return found


def lived(organiser, testers, drawn: DrawnRound) -> Round:
    """A round from its plan to its report, in which testers pull what was drawn."""
    plan = playing.draft()
    samples = [
        replace(one, codes=2 if at in (0, 2) else 1, ties=WORLD.pulls)
        for at, one in enumerate(plan.samples)
    ]
    made = set_up(organiser, replace(plan, samples=samples))
    entered = [enter(tester, made.entry_code) for tester in testers]
    open_round(organiser, made)
    for person, participant in enumerate(entered):
        body = session(drawn, person, participant)
        if body is not None:
            receive(participant.contributor, body, "application/json", None)
    close(organiser, made)
    make_round_reports()
    return made


def session(drawn: DrawnRound, person: int, participant: RoundParticipant) -> bytes | None:
    """What a tester sends: a set for each code that they pulled, none for who pulled nothing."""
    seen = drawn.observed
    who, what = np.asarray(seen.participant), np.asarray(seen.sample)
    loads, at_least = np.asarray(seen.load_N), np.asarray(seen.at_least)
    sets = []
    for one in participant.specimens.select_related("sample").order_by("code"):
        place = (one.sample.number, one.copy)
        (sample,) = [each.id for each in SAMPLES if DUPLICATE.get(each.id, (each.id, 1)) == place]
        pulled = (who == person) & (what == sample)
        pulls = [
            {"reading": round(float(load), 3), "failure_mode": "grip" if cut else "join"}
            for load, cut in zip(loads[pulled], at_least[pulled], strict=True)
        ]
        if pulls:
            sets.append({"sample": one.code, "pulls": pulls})
    if not sets:
        return None
    document = playing.session([], load_N=80.0 + person)
    return json.dumps(document | {"pull_sets": sets}).encode()


def test_ten_rounds_lived_by_the_verbs_find_rigs_and_hands_where_they_were_put(testers):
    rng, covered = np.random.default_rng(7), {"rigs": [], "hands": []}
    for _ in range(ROUNDS):
        drawn = draw(WORLD, rng)
        made = lived(testers[0], testers, drawn)
        found = selectors.latest_report(made).report["hands_and_rigs"]
        handles = {
            one.number: testers.index(one.contributor)
            for one in made.participants.select_related("contributor")
        }
        for kind, true in (("rigs", drawn.rigs), ("hands", drawn.hands)):
            for effect in found[kind]["effects"]:
                at = 100 * np.expm1(true[handles[effect["participant"]]])
                covered[kind].append(effect["low_percent"] <= at <= effect["high_percent"])
    for kind, each in covered.items():
        assert len(each) > 7 * ROUNDS, kind
        assert np.mean(each) >= 0.88, kind  # of 95 percent intervals, ten of which share a round
