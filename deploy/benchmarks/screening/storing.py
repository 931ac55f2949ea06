"""People, rigs and sessions of the panel in the database, by rows or through intake."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import uuid4

import numpy as np
from django.contrib.auth.models import User
from django.db import transaction

from deploy.benchmarks.screening.sheets import NEWTONS, Joined, Pulls, Rig, Sheet, Straight
from deploy.benchmarks.screening.worlds import World
from results.intake import amend
from results.intake.receiving import receive
from results.models import (
    Baseline,
    Connection,
    Job,
    Pool,
    Pull,
    PullSet,
    Session,
    StalePool,
)
from results.normalising.normalise import normalise_session
from results.pools.recompute import refresh_pool
from results.screening.screen import screen_session
from results.worker import run_session
from rigs.calibrating import calibrate
from rigs.models import CalibrationReading, Contributor, Line, RigRevision
from rigs.models import Rig as RigRow

WINTER_BEGINS = date(2025, 10, 1)
CHECK_WEIGHTS_KG = (2.0, 5.0, 10.0, 15.0, 20.0)
TERMINAL = "hook"
CORRECTED = "a reading was mistyped"


@contextmanager
def undone() -> Iterator[None]:
    """Whatever happens inside leaves no row behind."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def lay_catalogue(world: World) -> None:
    """The lines and joins of a world, accepted."""
    for name, material, label_N in zip(world.lines, world.materials, world.labels_N, strict=True):
        Line.objects.create(
            name=name,
            material=material,
            label_strength_N=label_N,
            label_strength_written=f"{label_N:.1f} N",
            accepted=True,
        )
    kinds = Connection.Kind
    kind = kinds.LINE_TO_LINE if len(world.lines) > 1 else kinds.LINE_TO_TERMINAL
    Connection.objects.bulk_create(
        Connection(name=join, kind=kind, accepted=True) for join in world.joins
    )


class Store:
    """Who and what is in the database; ``through_intake`` says how sessions come there.

    ``rigs`` has the latest rig of each person, ``figures`` the pools before anything is judged,
    ``fitted`` the figure of each pool and members that were looked at.
    """

    def __init__(self, world: World, *, through_intake: bool) -> None:
        self.world, self.through_intake = world, through_intake
        self.rigs: dict[str, Rig] = {}
        self.figures: dict[int, float] = {}
        self.fitted: dict[bytes, float | None] = {}
        self.lines = {line.name: line for line in Line.objects.filter(name__in=world.lines)}
        self.joins = {join.name: join for join in Connection.objects.filter(name__in=world.joins)}

    def send(self, sheet: Sheet, *, corrects: bool = False) -> Session:
        """Store a session, normalise and screen it.

        Through intake its job does so, and all jobs and pools that this asks for are run as well.
        Raises Invalid where intake refuses it.
        """
        revision = self.revision(sheet)
        owner = revision.rig.owner
        self.rigs[sheet.person] = sheet.rig
        replaces = owner.sessions.latest("pk") if corrects else None
        if self.through_intake:
            body = json.dumps(self._document(sheet)).encode()
            form = "application/json"
            receipt = receive(owner, body, form, None, replaces=replaces, reason=CORRECTED)
            _receive_on_the_day(receipt.session)
            refresh_pools()
            return receipt.session
        if replaces is not None:
            amend.retire(replaces, owner, Session.Standing.REPLACED, CORRECTED)
        session = self._stored(sheet, revision, replaces)
        _receive_on_the_day(session)
        work_out(session)
        return session

    def revision(self, sheet: Sheet) -> RigRevision:
        """The rig of a session, registered and calibrated where it is new, with its owner."""
        owner = Contributor.objects.filter(handle=sheet.person).first() or _join(sheet)
        known = RigRevision.objects.filter(rig__owner=owner, rig__name=sheet.rig.name)
        return known.select_related("rig__owner").first() or _register(owner, sheet.rig)

    def _stored(self, sheet: Sheet, revision: RigRevision, replaces: Session | None) -> Session:
        session = Session.objects.create(
            contributor=revision.rig.owner,
            revision=revision,
            pulled_on=day_of(sheet),
            state=sheet.state,
            unit=sheet.rig.unit,
            fingerprint=uuid4().hex,
            replaces=replaces,
            version=replaces.version + 1 if replaces else 1,
        )
        baselines = Baseline.objects.bulk_create(
            Baseline(session=session, line=self.lines[one.line], spool=sheet.spool)
            for one in sheet.straight
        )
        main, leader = self._pair()
        sets = PullSet.objects.bulk_create(
            PullSet(
                session=session,
                label=f"set {number}",
                connection=self.joins[one.join],
                main_line=main,
                main_spool=sheet.spool,
                leader_line=leader,
                leader_spool=sheet.spool if leader else "",
                terminal="" if leader else TERMINAL,
            )
            for number, one in enumerate(sheet.joined, start=1)
        )
        Pull.objects.bulk_create(_pulls(sheet, zip(sheet.straight, baselines, strict=True)))
        Pull.objects.bulk_create(_pulls(sheet, zip(sheet.joined, sets, strict=True)))
        return session

    def _pair(self) -> tuple[Line, Line | None]:
        main, *leader = (self.lines[name] for name in self.world.lines)
        return main, leader[0] if leader else None

    def _document(self, sheet: Sheet) -> dict[str, Any]:
        main, leader = self._pair()
        on_spool = {"spool": sheet.spool}
        return {
            "rig": sheet.rig.name,
            "revision": 1,
            "pulled_on": day_of(sheet).isoformat(),
            "state": sheet.state,
            "unit": sheet.rig.unit,
            "baselines": [
                {"line": one.line, "pulls": _documents(one.pulls, sheet.rig.unit), **on_spool}
                for one in sheet.straight
            ],
            "pull_sets": [
                {
                    "label": f"set {number}",
                    "connection": one.join,
                    "main": {"line": main.name, **on_spool},
                    "leader": {"line": leader.name, **on_spool} if leader else None,
                    "terminal": "" if leader else TERMINAL,
                    "pulls": _documents(one.pulls, one.unit or sheet.rig.unit),
                }
                for number, one in enumerate(sheet.joined, start=1)
            ],
        }


def day_of(sheet: Sheet) -> date:
    """The day on which a session was pulled."""
    return WINTER_BEGINS + timedelta(sheet.day)


def _receive_on_the_day(session: Session) -> None:
    """Who came to the store together is known by when sessions were received."""
    session.received_at = datetime.combine(session.pulled_on, time(20), UTC)
    Session.objects.filter(pk=session.pk).update(received_at=session.received_at)


def work_out(session: Session) -> None:
    """What a session's job does: normalise and screen, without what follows elsewhere."""
    normalise_session(session.pk, still_ours=lambda: True)
    screen_session(session.pk, still_ours=lambda: True, follow=lambda: None)


def run_jobs() -> None:
    """Run what waits until nothing does. Raises RuntimeError where a job fails."""
    for _ in range(20):
        waiting = list(Job.objects.filter(state=Job.State.QUEUED).order_by("created_at"))
        if not waiting:
            return
        for job in waiting:
            if not run_session.run(job.pk):
                raise RuntimeError(f"job {job.pk} could not be run")
            done = Job.objects.get(pk=job.pk)
            if done.attempts > 1 or done.problem:
                raise RuntimeError(f"job {job.pk} failed: {done.problem}")
    raise RuntimeError("jobs ask for one another without end")


def refresh_pools() -> None:
    """Compute every stale pool, and run the jobs that new versions ask for, until all is still."""
    run_jobs()
    for _ in range(20):
        stale = set(StalePool.objects.values_list("pool_id", flat=True))
        if not stale:
            return
        for pool_id in sorted(stale):
            refresh_pool(pool_id)
        run_jobs()
    raise RuntimeError("pools stay stale")


def pools() -> list[int]:
    """Ids of the pools there are."""
    return list(Pool.objects.order_by("pk").values_list("pk", flat=True))


def readings_of_check_weights(rig: Rig) -> list[CalibrationReading]:
    """Two series of check weights on a rig, as it reads."""
    rng = np.random.default_rng(5)
    gravity = 9.80665
    found = []
    for mass in (*CHECK_WEIGHTS_KG, *CHECK_WEIGHTS_KG):
        reading = float(rig.shown(rng, np.array(mass * gravity)))
        found.append(
            CalibrationReading(
                mass_kg=mass,
                mass_written=f"{mass} kg",
                u_mass_kg=0.002 * mass / 3**0.5,
                how_known=CalibrationReading.HowKnown.BOUGHT,
                reading_N=reading * NEWTONS[rig.unit],
                reading_written=f"{reading:.6g} {rig.unit}",
            )
        )
    return found


def _join(sheet: Sheet) -> Contributor:
    """An account from the eve of its first session, or from the day that the sheet says."""
    user = User.objects.create_user(sheet.person.replace(" ", "-"))
    owner = Contributor.objects.create(user=user, handle=sheet.person)
    eve = sheet.day - 1 if sheet.account_day is None else sheet.account_day
    owner.joined_at = datetime.combine(WINTER_BEGINS + timedelta(eve), time(18), UTC)
    owner.save(update_fields=["joined_at"])
    return owner


def _register(owner: Contributor, rig: Rig) -> RigRevision:
    columns = RigRevision
    dial = rig.indicator == "dial scale"
    revision = RigRevision.objects.create(
        rig=RigRow.objects.create(owner=owner, name=rig.name),
        number=1,
        made_on=WINTER_BEGINS - timedelta(30),
        load_generation=columns.LoadGeneration.HAND_WINCH,
        load_path=rig.load_path,
        indicator=rig.indicator,
        peak_capture=columns.PeakCapture.BY_EYE if dial else columns.PeakCapture.PEAK_HOLD,
        resolution_N=rig.step * NEWTONS[rig.unit],
        resolution_written=f"{rig.step:g} {rig.unit}",
        first_grip=columns.Grip.BOLLARD,
        second_grip=columns.Grip.EYE,
    )
    if rig.calibrated:
        made_on = WINTER_BEGINS - timedelta(5)
        calibrate(owner.user, revision, made_on, readings_of_check_weights(rig))
    return revision


def _decimals(pulls: Pulls) -> list[float]:
    return [round(float(value), 6) for value in pulls.values]


def _documents(pulls: Pulls, unit: str) -> list[dict[str, Any]]:
    return [
        {"reading": reading, "unit": unit, "failure_mode": mode}
        for reading, mode in zip(_decimals(pulls), pulls.modes, strict=True)
    ]


def _pulls(
    sheet: Sheet, parts: Iterable[tuple[Straight | Joined, Baseline | PullSet]]
) -> Iterator[Pull]:
    for part, row in parts:
        unit = (part.unit if isinstance(part, Joined) else "") or sheet.rig.unit
        of = {"baseline" if isinstance(row, Baseline) else "pull_set": row}
        readings = zip(_decimals(part.pulls), part.pulls.modes, strict=True)
        for number, (reading, mode) in enumerate(readings, start=1):
            yield Pull(
                number=number,
                reading_written=f"{reading:g}",
                unit=unit,
                reading_N=reading * NEWTONS[unit],
                failure_mode=mode,
                **of,
            )
