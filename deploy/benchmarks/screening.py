"""What screening finds and what it holds in error: `deploy/bench screening`.

Draws leagues from the scenario and sends every session through the API and the jobs of this
process, in order of date; then plants faults of random strength, and the scenario's suspects, one
at a time. Prints Markdown tables with exact 95 percent intervals (Clopper & Pearson 1934).
"""

from __future__ import annotations

import argparse
import logging
import os
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.stats import beta

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
        from results.models import CheckResult  # noqa: PLC0415  (after Django's set-up)

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


def main() -> int:
    """Run the benchmark and print its tables."""
    arguments = _arguments()
    with tempfile.TemporaryDirectory(prefix="samespool-") as folder:
        os.environ.update(SAMESPOOL_VAR=folder, DJANGO_SETTINGS_MODULE="deploy.settings")
        for name in ("DATABASE_URL", "REDIS_URL"):
            os.environ.pop(name, None)
        _set_up()
        rng = np.random.default_rng(arguments.seed)
        honest = Tally()
        planted: dict[str, Tally] = {}
        for _ in range(arguments.worlds):
            with _undone():
                _one_world(rng, arguments.testers, honest, planted)
        _print(honest, planted)
    return 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--worlds", type=int, default=8, help="leagues to draw")
    parser.add_argument(
        "--testers",
        type=int,
        default=None,
        help="testers a league (the scenario's ten if not said)",
    )
    parser.add_argument("--seed", type=int, default=6)
    return parser.parse_args()


def _set_up() -> None:
    import django  # noqa: PLC0415

    django.setup()
    import structlog  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415

    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.WARNING))
    call_command("migrate", verbosity=0)


@contextmanager
def _undone() -> Iterator[None]:
    """Whatever happens inside leaves no row behind."""
    from django.db import transaction  # noqa: PLC0415

    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def _one_world(
    rng: np.random.Generator, testers: int | None, honest: Tally, planted: dict[str, Tally]
) -> None:
    from deploy.demo import inside  # noqa: PLC0415
    from deploy.demo.faults import FAULTS  # noqa: PLC0415
    from deploy.demo.simulate import draw_world  # noqa: PLC0415
    from deploy.demo.suspects import draw_suspects  # noqa: PLC0415
    from rigs.refusals import Invalid  # noqa: PLC0415

    inside.lay_catalogue()
    world = draw_world(rng, testers)
    people = [inside.settle(submission) for submission in world]
    for person, session in _by_date(people, world):
        honest.add(inside.send(person, session))
    for kind, plant in FAULTS.items():
        for submission in draw_world(rng, RIGS):
            with _undone():
                spoilt = plant(rng, submission["sessions"][0], submission["rig"]["resolution"])
                person = inside.settle(submission, f"{submission['handle']}, newcomer")
                tally = planted.setdefault(kind, Tally())
                try:
                    tally.add(inside.send(person, spoilt))
                except Invalid:
                    tally.refuse()
    for handle, submission in draw_suspects(rng).items():
        with _undone():
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


def interval(found: int, of: int) -> tuple[float, float]:
    """Exact 95 percent interval of a share."""
    low = float(beta.ppf(0.025, found, of - found + 1)) if found else 0.0
    high = float(beta.ppf(0.975, found + 1, of - found)) if found < of else 1.0
    return low, high


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


if __name__ == "__main__":
    raise SystemExit(main())
