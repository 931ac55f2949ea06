"""Small worlds for the stories: rigs, lines, joins and sessions, stored as intake stores them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, date, datetime

from msgspec import convert

from results.intake import traces as intake_traces
from results.intake.document import TraceDocument
from results.intake.findings import Findings
from results.models import AcceptedName, Baseline, Connection, Pull, PullSet, Session, Trace, Upload
from rigs.models import Calibration, Contributor, Line, Material, Rig, RigRevision
from tests.traces import trace

PARTED_STRAIGHT = (98.0, 101.0, 99.0, 102.0, 100.0)


def revision_of(owner: Contributor, *, name: str = "shed winch", resolution_N: float = 0.5):
    rig = Rig.objects.create(owner=owner, name=name)
    return RigRevision.objects.create(
        rig=rig,
        number=1,
        made_on=date(2025, 9, 1),
        load_generation=RigRevision.LoadGeneration.HAND_WINCH,
        indicator=RigRevision.Indicator.DIGITAL,
        peak_capture=RigRevision.PeakCapture.PEAK_HOLD,
        resolution_N=resolution_N,
        resolution_written=f"{resolution_N} N",
        first_grip=RigRevision.Grip.BOLLARD,
        second_grip=RigRevision.Grip.BOLLARD,
    )


def calibrate(revision: RigRevision, *, gain: float, offset_N: float, made_on=date(2025, 9, 2)):
    return Calibration.objects.create(
        revision=revision,
        made_on=made_on,
        local_gravity=9.81,
        gain=gain,
        offset_N=offset_N,
        u_gain=0.002,
        u_offset_N=0.3,
        correlation=-0.8,
        residual_sd_N=0.2,
        degrees_of_freedom=4,
        lowest_N=20,
        highest_N=200,
    )


def accept(kind: str, *texts: str) -> None:
    """Let everyone read these texts as names of this kind, as a moderator would."""
    for text in texts:
        AcceptedName.objects.get_or_create(kind=kind, text=text)


def line(name: str, *, material: str = Material.NYLON, label_N: float | None = 90.0) -> Line:
    return Line.objects.get_or_create(
        name=name,
        defaults={"material": material, "label_strength_N": label_N, "accepted": True},
    )[0]


def connection(name: str = "Blood") -> Connection:
    return Connection.objects.get_or_create(
        name=name, defaults={"kind": Connection.Kind.LINE_TO_LINE, "accepted": True}
    )[0]


def session(revision: RigRevision, *, pulled_on=date(2026, 1, 10), state="dry") -> Session:
    count = Session.objects.count()
    return Session.objects.create(
        contributor=revision.rig.owner,
        revision=revision,
        pulled_on=pulled_on,
        state=state,
        unit="N",
        fingerprint=f"made for a story {count}",
    )


def straight(
    of: Session,
    pulled: Line,
    readings_N: Sequence[float] = PARTED_STRAIGHT,
    modes: Sequence[str] | None = None,
    *,
    spool: str = "",
    position: str = "before",
) -> Baseline:
    baseline = Baseline.objects.create(session=of, line=pulled, spool=spool, position=position)
    _pulls(readings_N, modes or ["line"] * len(readings_N), baseline=baseline)
    return baseline


def joined(
    of: Session,
    main: Line,
    leader: Line,
    readings_N: Sequence[float],
    modes: Sequence[str] | None = None,
    *,
    tie: str = "Blood",
) -> PullSet:
    pull_set = PullSet.objects.create(
        session=of,
        label=f"set {of.pull_sets.count() + 1}",
        connection=connection(tie),
        main_line=main,
        leader_line=leader,
    )
    _pulls(readings_N, modes or ["join"] * len(readings_N), pull_set=pull_set)
    return pull_set


def _pulls(readings_N, modes, **of) -> None:
    Pull.objects.bulk_create(
        Pull(
            number=number,
            reading_written=f"{reading:g}",
            unit="N",
            reading_N=reading,
            failure_mode=mode,
            **of,
        )
        for number, (reading, mode) in enumerate(zip(readings_N, modes, strict=True), start=1)
    )


def traced(pull: Pull, **how) -> Trace:
    """A trace of a stored pull that peaks at its reading; ``how`` is of `tests.traces.trace`."""
    findings = Findings()
    started_at = datetime(2026, 1, 10, 18, tzinfo=UTC)
    said = convert({**trace(pull.reading_N, **how), "started_at": started_at}, TraceDocument)
    found = intake_traces.traced(said, "", findings)
    assert found is not None, findings.kept
    row = found.row(pull)
    row.save()
    return row


def sent(session: Session, body: bytes = b"{}", form: str = "application/json") -> Upload:
    """The bytes that a session came in, with their sum."""
    return Upload.objects.create(
        contributor=session.contributor,
        session=session,
        content_type=form,
        body=body,
        sha256=hashlib.sha256(body).hexdigest(),
    )
