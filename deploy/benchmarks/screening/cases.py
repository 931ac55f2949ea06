"""One case of a kind: what is sent and done, and what became of it."""

from __future__ import annotations

import pickle
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import timedelta
from typing import Any

import numpy as np
from django.contrib.auth.models import User

from deploy.benchmarks.screening.kinds import (
    Calibrate,
    Event,
    Group,
    JudgePool,
    Kind,
    Reject,
    Send,
    Withdraw,
)
from deploy.benchmarks.screening.storing import (
    WINTER_BEGINS,
    Store,
    lay_catalogue,
    pools,
    readings_of_check_weights,
    refresh_pools,
    run_jobs,
    undone,
    work_out,
)
from deploy.benchmarks.screening.worlds import FIRST_TESTERS, World, draw_world
from results.intake import amend
from results.models import CheckResult, PullSet, Session
from results.models.lifecycle import State, move
from results.normalising.reprocess import calibrate_and_reprocess
from results.pools.estimate import fit_from
from results.pools.pool_data import members_of
from rigs.models import RigRevision
from rigs.refusals import Invalid

INFLUENCE = "influence"
"""How the names of checks begin that hold a set for what it would move, and accuse no one."""


@dataclass
class Outcome:
    """What became of one case; ``shift`` is the largest change of a pool's figure, in percent.

    ``shift`` is None where nothing of what is judged counts. ``checks`` are those that hold.
    """

    kind: str
    seed: int
    whole: bool
    held: bool = False
    waiting: bool = False
    refused: bool = False
    shift: float | None = None
    checks: list[str] = field(default_factory=list)
    marks: list[str] = field(default_factory=list)

    def as_row(self) -> dict[str, Any]:
        """The outcome as JSON keeps it."""
        return asdict(self)


@contextmanager
def world_in_store(seed: int, *, whole: bool, as_fourth: bool) -> Iterator[tuple[World, Store]]:
    """A world of this seed in the database, three testers of it or all, undone afterwards."""
    world = draw_world(seed)
    first = {person.name for person in world.people[:FIRST_TESTERS]}
    with undone():
        lay_catalogue(world)
        store = Store(world, through_intake=whole)
        for sheet in sorted(world.sheets, key=lambda one: (one.person not in first, one.day)):
            if sheet.person in first or not as_fourth:
                store.send(sheet)
        refresh_pools()
        store.figures = _figures(store)
        yield world, store


def outcome_of(kind: Kind, world: World, store: Store) -> Outcome:
    """Draw one case of a kind, let it happen, and look; leaves the store as it was."""
    events = kind.draw(world, kind.rng(world.seed))
    outcome = Outcome(kind.name, world.seed, store.through_intake)
    with undone():
        held_before = set(_held_sets().values_list("pk", flat=True))
        judged: list[Session] = []
        figures: dict[int, float] | None = store.figures
        for event in events:
            if isinstance(event, Send) and not event.judged:
                figures = None
            elif figures is None:
                figures = _figures(store)
            try:
                session = _let_happen(event, store)
            except Invalid:
                outcome.refused = outcome.refused or (isinstance(event, Send) and event.judged)
                continue
            if session is not None and isinstance(event, Send) and event.judged:
                judged.append(session)
        sets = PullSet.objects.filter(session__in=judged)
        if any(isinstance(event, JudgePool) for event in events):
            others = Session.objects.filter(
                contributor__handle__in=[person.name for person in world.people]
            )
            judged += list(others)
            sets = PullSet.objects.filter(session__in=judged).exclude(pk__in=held_before)
        _look(outcome, judged, sets)
        counts = not outcome.refused and sets.exclude(state=State.HELD).exists()
        if counts and kind.group not in (Group.VICTIM, Group.VANDAL):
            outcome.shift = _largest_shift(figures or {}, _figures(store))
    return outcome


def _let_happen(event: Event, store: Store) -> Session | None:
    if isinstance(event, Send):
        return store.send(event.sheet, corrects=event.corrects)
    if isinstance(event, Reject):
        reject(event.person)
    elif isinstance(event, Withdraw):
        for session in Session.objects.filter(contributor__handle=event.person):
            amend.withdraw(session, session.contributor, "withdrawn")
    elif isinstance(event, Calibrate):
        _calibrate(event.person, store)
    elif not store.through_intake:
        for session in Session.objects.filter(standing=Session.Standing.CURRENT):
            work_out(session)
    if store.through_intake:
        refresh_pools()
    return None


def reject(person: str) -> None:
    """Reject every set of a person, as a moderator would after a look."""
    moderator = User.objects.create_user("panel-moderator")
    sets = PullSet.objects.filter(session__contributor__handle=person)
    counting = [one for one in sets if one.state not in (State.HELD, State.REJECTED)]
    move(counting, State.HELD, by=moderator, reason="a copy")
    move(list(sets.filter(state=State.HELD)), State.REJECTED, by=moderator, reason="a copy")


def _calibrate(person: str, store: Store) -> None:
    revision = RigRevision.objects.select_related("rig__owner__user").get(rig__owner__handle=person)
    session = Session.objects.filter(revision=revision).earliest("pulled_on")
    rig = store.rigs[person]
    calibrate_and_reprocess(
        revision.rig.owner.user,
        revision,
        max(WINTER_BEGINS, session.pulled_on - timedelta(1)),
        readings_of_check_weights(rig),
    )
    run_jobs()


def _held_sets() -> Any:
    return PullSet.objects.filter(state=State.HELD)


def _look(outcome: Outcome, sessions: Iterable[Session], sets: Any) -> None:
    """Which sets are held and by what, and which checks mark."""
    held = {one.pk: one for one in sets.filter(state=State.HELD).select_related("normalised")}
    of_held = {one.session_id for one in held.values()}
    by_set: dict[int, set[str]] = {pk: set() for pk in held}
    for session in sessions:
        latest = session.screenings.order_by("-pk").first()
        if latest is None:
            continue
        results = list(latest.checks.exclude(level=CheckResult.Level.NONE))
        outcome.marks += sorted({one.name for one in results if one.level == "mark"})
        if session.pk not in of_held:
            continue
        for pk, names in by_set.items():
            if held[pk].session_id == session.pk:
                names |= {one.name for one in results if one.level == "hold" and _on(one, held[pk])}
    influence = {pk for pk, names in by_set.items() if names and all(map(_is_influence, names))}
    outcome.held = bool(set(held) - influence) or outcome.refused
    outcome.waiting = bool(influence)
    outcome.checks = sorted(set().union(*by_set.values())) + ["refused"] * outcome.refused
    outcome.marks = sorted(set(outcome.marks))


def _is_influence(name: str) -> bool:
    return name.startswith(INFLUENCE)


def _on(result: CheckResult, pull_set: PullSet) -> bool:
    """Whether a result concerns a set: it is of the set, of its straight line, or of all."""
    if result.pull_set_id is not None:
        return result.pull_set_id == pull_set.pk
    normalised = getattr(pull_set, "normalised", None)
    return result.baseline_id is None or (
        normalised is not None and normalised.baseline_id == result.baseline_id
    )


def _figures(store: Store) -> dict[int, float]:
    """The log of the pooled efficiency of each pool that has one, as of now.

    A pool whose members are those of an earlier look is not computed again.
    """
    found = {}
    for pool_id in pools():
        members = members_of(pool_id)
        key = pickle.dumps((pool_id, members))
        if key not in store.fitted:
            fit = fit_from(members)
            store.fitted[key] = fit.mu if fit else None
        mu = store.fitted[key]
        if mu is not None:
            found[pool_id] = mu
    return found


def _largest_shift(before: dict[int, float], after: dict[int, float]) -> float | None:
    shifts = [
        100 * float(np.expm1(after[pool_id] - mu))
        for pool_id, mu in before.items()
        if pool_id in after
    ]
    return max(shifts, key=abs, default=None)
