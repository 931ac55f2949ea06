"""Leagues of testers whose sessions are worked out and pooled."""

from collections.abc import Callable

import numpy as np

from results.jobs.queue import enqueue
from results.models import Pool, PullSet
from results.worker import embedded
from rigs.models import Contributor, Material
from tests import making
from tests.people import contributor

NYLON = Material.NYLON.value


def send(
    person: Contributor,
    rng: np.random.Generator,
    tie: str,
    strength_N: float,
    leader_material: str = NYLON,
    line: str = "thin",
) -> PullSet:
    """A session of straight line near 100 N and six pulls of a join."""
    revision = making.revision_of(person, name=f"bench {person.rigs.count()}")
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    session = making.session(revision)
    main = making.line(line)
    leader = making.line(f"thick {leader_material}", material=leader_material, label_N=180)
    making.straight(session, main, 100 * np.exp(rng.normal(0, 0.02, 6)))
    pulls_N = strength_N * np.exp(rng.normal(0, 0.03) + rng.normal(0, 0.05, 6))
    pull_set = making.joined(session, main, leader, pulls_N, tie=tie)
    enqueue(session)
    return pull_set


def league_of(
    strengths_N: dict[str, float],
    testers: int,
    before: Callable[[np.random.Generator], object] = lambda _rng: None,
) -> list[PullSet]:
    """Everyone pulls every join; what ``before`` sends comes first. All of it is pooled."""
    rng = np.random.default_rng(20260110)
    before(rng)
    people = [contributor(f"tester {number}") for number in range(testers)]
    sent = [
        send(person, rng, tie, strength_N)
        for tie, strength_N in strengths_N.items()
        for person in people
    ]
    embedded.drain()
    return list(PullSet.objects.filter(pk__in=[pull_set.pk for pull_set in sent]).order_by("pk"))


def league_parting_in_the_line(
    own: float, testers: int = 5, gains: tuple[float, ...] = (1.0, 1.05, 0.97)
) -> Pool:
    """Testers with scales of different gain, two sessions each of eight pulls of a join.

    `own` is the join's own strength over that of its line.
    """
    rng = np.random.default_rng(7)
    for number in range(testers):
        gain = gains[number % len(gains)]
        revision = making.revision_of(contributor(f"tester {number}"))
        making.calibrate(revision, gain=gain, offset_N=1.5)
        for _ in range(2):
            session = making.session(revision)
            main, leader = making.line("thin"), making.line("thick", label_N=180)
            making.straight(session, main, gain * 100 * np.exp(rng.normal(0, 0.02, 8)) + 1.5)
            join = 100 * own * np.exp(rng.normal(0, 0.03) + rng.normal(0, 0.05, 8))
            line = 100 * np.exp(rng.normal(0, 0.02, 8))
            modes = np.where(join < line, "join", "line").tolist()
            making.joined(session, main, leader, gain * np.minimum(join, line) + 1.5, modes=modes)
            enqueue(session)
    embedded.drain()
    return Pool.objects.select_related("current").get()
