"""Readings that were entered in a wrong unit, put right by their tester with one click."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np
from django.db.models import Q
from django.utils.translation import gettext

from results.intake.document import PullDocument, SessionDocument
from results.intake.reading import JSON, read
from results.intake.receiving import Receipt, receive
from results.models import Baseline, CheckResult, NormalisedSet, Pull, PullSet, Session, Upload
from results.models.lifecycle import COUNTING
from rigs.metrology.units import FORCE_UNITS, force_unit
from rigs.models import Contributor
from rigs.refusals import Conflict, Forbidden

STRAIGHT = "unit mix-up"
"""The check of straight line against that of other testers."""

MOST = 200
"""Sets of others, the newest, that say what a join keeps."""

USUAL = 0.7
"""What a join keeps of its line where no one else has tied it (common practice, no source)."""

_NUMBER = re.compile(r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class UnitRepair:
    """Baselines and sets of a session, by their ids, whose readings seem to be in ``unit``.

    ``entered`` is the unit that they were entered in, ``factor`` what loads are multiplied by.
    """

    unit: str
    entered: str
    factor: float
    baselines: frozenset[int]
    sets: frozenset[int]


def advised_unit(session: Session) -> UnitRepair | None:
    """What the latest screening of a current session advises; None without one plain slip.

    Where straight line is off and its joins are as strong against it as elsewhere, all of the
    session is in that unit; where they are not, the straight line alone.
    """
    latest = session.screenings.order_by("-pk").first()
    if latest is None or session.standing != Session.Standing.CURRENT:
        return None
    found = list(latest.checks.filter(level=CheckResult.Level.HOLD).exclude(meant_unit=""))
    straight = [check for check in found if check.name == STRAIGHT]
    joined = [check for check in found if check.pull_set_id is not None]
    meant = {check.meant_unit for check in straight or joined}
    if len(meant) != 1:
        return None
    unit = meant.pop()
    if not straight:
        held = {check.pull_set_id for check in joined}
        sets = session.pull_sets.filter(state=PullSet.State.HELD)
        return _repair(unit, [], [one for one in sets if one.pk in held])
    alone = _repair(unit, _specimens_of(session, straight), [])
    if alone is None or _brought_home(session, alone):
        return alone
    return _repair(unit, list(session.baselines.all()), list(session.pull_sets.all()))


def repair_unit(by: Contributor, session: Session) -> Receipt:
    """Send the corrected version that `advised_unit` describes, in the tester's name.

    The transaction, locks and refusals of `receive`; also raises Forbidden for a session of someone
    else and Conflict where nothing is advised or the file as sent is no longer there.
    """
    if session.contributor_id != by.pk:
        raise Forbidden(gettext("Only its own contributor can amend or withdraw a session."))
    advised = advised_unit(session)
    upload = Upload.objects.filter(session=session).first()
    if advised is None or upload is None:
        raise Conflict(gettext("No reading of this session seems to be in another unit."))
    document = read(bytes(upload.body), upload.content_type).document
    body = msgspec.json.encode(_corrected(document, session, advised))
    reason = f"readings were in {advised.unit}, and were entered in {advised.entered}"
    return receive(by, body, JSON, None, replaces=session, reason=reason)


def _specimens_of(session: Session, checks: Sequence[CheckResult]) -> list[Baseline]:
    """All baselines of the lines and spools that these checks are of."""
    wrong = {check.baseline_id for check in checks}
    every = list(session.baselines.all())
    specimens = {(one.line_id, one.spool) for one in every if one.pk in wrong}
    return [one for one in every if (one.line_id, one.spool) in specimens]


def _brought_home(session: Session, alone: UnitRepair) -> bool:
    """Whether the joins lie nearer to what others found once the straight line is put right."""
    own = NormalisedSet.objects.filter(pull_set__session=session)
    off = []
    for pool_id, log_ratio in own.values_list("pool_id", "log_ratio"):
        others = NormalisedSet.objects.filter(pool=pool_id, pull_set__state__in=COUNTING)
        found = others.exclude(pull_set__session__contributor=session.contributor_id)
        ratios = list(found.order_by("-pull_set_id").values_list("log_ratio", flat=True)[:MOST])
        off.append(log_ratio - (float(np.median(ratios)) if ratios else math.log(USUAL)))
    middle = float(np.median(off)) if off else 0.0
    return abs(middle - math.log(alone.factor)) < abs(middle)


def _repair(unit: str, baselines: Sequence[Baseline], sets: Sequence[PullSet]) -> UnitRepair | None:
    of_these = Q(baseline__in=baselines) | Q(pull_set__in=sets)
    entered = set(Pull.objects.filter(of_these).order_by().values_list("unit", flat=True))
    if len(entered) != 1 or entered == {unit}:
        return None
    was = entered.pop()
    factor = FORCE_UNITS[unit] / FORCE_UNITS[was]
    ids = frozenset(one.pk for one in baselines), frozenset(one.pk for one in sets)
    return UnitRepair(unit, was, factor, *ids)


def _corrected(document: SessionDocument, session: Session, advised: UnitRepair) -> SessionDocument:
    """The document with the unit in place; its parts stand in the order they were stored in."""
    baselines = session.baselines.order_by("pk").values_list("pk", flat=True)
    sets = session.pull_sets.order_by("pk").values_list("pk", flat=True)
    return msgspec.structs.replace(
        document,
        baselines=[
            msgspec.structs.replace(
                part, pulls=list(_in_unit(part.pulls, advised.entered, advised.unit))
            )
            if pk in advised.baselines
            else part
            for part, pk in zip(document.baselines, baselines, strict=True)
        ],
        pull_sets=[
            msgspec.structs.replace(
                part, pulls=list(_in_unit(part.pulls, advised.entered, advised.unit))
            )
            if pk in advised.sets
            else part
            for part, pk in zip(document.pull_sets, sets, strict=True)
        ],
    )


def _in_unit(pulls: Sequence[PullDocument], entered: str, unit: str) -> Iterator[PullDocument]:
    """The pulls in ``unit``, with those of their traces that are in the unit they were entered in.

    A trace in another unit comes from a logger that knows its own.
    """
    for pull in pulls:
        reading = pull.reading
        if isinstance(reading, str):
            number = _NUMBER.search(reading)
            reading = number.group() if number else reading
        trace = pull.trace
        if trace is not None and force_unit(trace.unit) == entered:
            trace = msgspec.structs.replace(trace, unit=unit)
        yield msgspec.structs.replace(pull, reading=reading, unit=unit, trace=trace)
