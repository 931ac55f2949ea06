"""The demo league and its faults: `deploy/bench screening --league`.

Draws leagues from the scenario and sends every session through the API and the jobs of this
process, in order of date; then plants faults of random strength, and the scenario's suspects, one
at a time. Prints Markdown tables with exact 95 percent intervals (Clopper & Pearson 1934).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from deploy.benchmarks.screening.storing import undone
from deploy.benchmarks.screening.table import interval
from deploy.demo import inside
from deploy.demo.faults import FAULTS
from deploy.demo.simulate import draw_world
from deploy.demo.suspects import draw_suspects
from results.models import CheckResult
from rigs.refusals import Invalid

RIGS = 10
"""Each kind of fault is planted once on each rig of the scenario, coarse scales and fine."""


@dataclass
class Tally:
    """Sessions looked at, those with a set held, those with all sets held, and by which check."""

    sessions: int = 0
    refused: int = 0
    touched: int = 0
    whole: int = 0
    by_check: Counter[str] = field(default_factory=Counter)
    marks: Counter[str] = field(default_factory=Counter)

    def add(self, session: Any) -> None:
        states = list(session.pull_sets.values_list("state", flat=True))
        self.sessions += 1
        self.touched += "held" in states
        self.whole += set(states) == {"held"}
        found = CheckResult.objects.filter(screening__session=session)
        self.by_check.update(set(found.filter(level="hold").values_list("name", flat=True)))
        self.marks.update(set(found.filter(level="mark").values_list("name", flat=True)))

    def refuse(self) -> None:
        """A session that intake would not take, for a reading that its scale can't show."""
        self.sessions += 1
        self.refused += 1
        self.touched += 1
        self.whole += 1


def run(worlds: int, seed: int) -> None:
    """Draw leagues and print their tables, on a database that is set up."""
    rng = np.random.default_rng(seed)
    honest = Tally()
    planted: dict[str, Tally] = {}
    for _ in range(worlds):
        with undone():
            _one_world(rng, honest, planted)
    _print(honest, planted)


def _one_world(rng: np.random.Generator, honest: Tally, planted: dict[str, Tally]) -> None:
    inside.lay_catalogue()
    world = draw_world(rng)
    people = [inside.settle(submission) for submission in world]
    for person, session in _by_date(people, world):
        honest.add(inside.send(person, session))
    for kind, plant in FAULTS.items():
        for submission in draw_world(rng, RIGS):
            with undone():
                spoilt = plant(rng, submission["sessions"][0], submission["rig"]["resolution"])
                person = inside.settle(submission, f"{submission['handle']}, newcomer")
                tally = planted.setdefault(kind, Tally())
                try:
                    tally.add(inside.send(person, spoilt))
                except Invalid:
                    tally.refuse()
    for handle, submission in draw_suspects(rng).items():
        with undone():
            person = inside.settle(submission)
            wrong = slice(1, 2) if handle == "pounds" else slice(None)
            for session in submission["sessions"][wrong]:
                planted.setdefault(f"suspect {handle}", Tally()).add(inside.send(person, session))


def _by_date(people: list[Any], world: list[dict[str, Any]]) -> list[tuple[Any, dict[str, Any]]]:
    dated = [
        (session["pulled_on"], number, session)
        for number, submission in enumerate(world)
        for session in submission["sessions"]
    ]
    dated.sort(key=lambda row: row[:2])
    return [(people[number], session) for _, number, session in dated]


def _share(found: int, of: int) -> str:
    low, high = interval(found, of)
    return f"{100 * found / of:.1f} ({100 * low:.1f} to {100 * high:.1f})"


def _print(honest: Tally, planted: dict[str, Tally]) -> None:
    print("| submissions | sessions | refused at intake | a set held, percent | all sets held |")
    print("|---|---|---|---|---|")
    for name, tally in {"honest": honest, **planted}.items():
        held, whole = _share(tally.touched, tally.sessions), _share(tally.whole, tally.sessions)
        print(f"| {name} | {tally.sessions} | {tally.refused} | {held} | {whole} |")
    names = sorted(set(honest.marks) | set(honest.by_check))
    for tally in planted.values():
        names = sorted({*names, *tally.by_check})
    kinds = list(planted)
    print(f"\n| check | honest marked | honest held | {' | '.join(f'{k} held' for k in kinds)} |")
    print("|---|---|---|" + "---|" * len(kinds))
    for name in names:
        cells = [_share(planted[kind].by_check[name], planted[kind].sessions) for kind in kinds]
        cells = [cell if not cell.startswith("0.0 ") else "" for cell in cells]
        marked = _share(honest.marks[name], honest.sessions)
        held = _share(honest.by_check[name], honest.sessions)
        print(f"| {name} | {marked} | {held} | {' | '.join(cells)} |")
