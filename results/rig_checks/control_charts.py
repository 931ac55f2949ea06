"""Watching a rig: the same line, or the same tie, session after session on one revision.

Each series stands by itself: results of two revisions are never mixed, nor two spools, nor dry
line and wet. Loads are those of the calibration in force on the day.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext

from results import notices
from results.models import Baseline, NormalisedSet, Notice, PullSet, Session
from results.normalising.reference_line import Specimen
from results.normalising.scales import scale_of
from results.normalising.set_figures import straight_strengths
from results.normalising.usable_straight import OUT, usable
from results.rig_checks.rig_scatter import KINDS, Kind, ScatterHistory, history_of, keep, priors
from results.statistics.censored import Strength
from rigs.metrology.day_to_day import Scatter, successive_factors
from rigs.metrology.errors import MetrologyError
from rigs.metrology.watch import Change, StraightLineWatch, watch_straight_line
from rigs.models import Rig, RigRevision

Key: TypeAlias = tuple[object, ...]


@dataclass(frozen=True)
class Point:
    """One session of a series: its mean in newtons, and the sets of that session it concerns.

    ``sources`` are the ids of its baselines, or of its pull set.
    """

    session: Session
    sources: tuple[int, ...]
    mean_N: float
    cv: float
    n: int
    sets: tuple[PullSet, ...]


@dataclass(frozen=True)
class Repeated:
    """Repeated pulls of one thing on one revision, oldest first, before they are charted."""

    kind: Kind
    key: Key
    first: Baseline | PullSet
    points: tuple[Point, ...]

    @property
    def columns(self) -> tuple[list[float], list[float], list[int]]:
        """Mean in newtons, CV and number of pulls by session."""
        return (
            [point.mean_N for point in self.points],
            [point.cv for point in self.points],
            [point.n for point in self.points],
        )


@dataclass(frozen=True)
class ChartRow:
    """One session of a series beside the first."""

    point: Point
    change: Change | None
    signals: bool


@dataclass(frozen=True)
class Series:
    """Repeated pulls of one thing on one revision, oldest first, and their control charts.

    ``key`` says by ids what was pulled and how, on whichever revision; ``what`` says it to people,
    by the names of ``first``, the first baseline or pull set of it.
    ``watch`` is None, and ``why_not`` says why, where there is too little to chart. ``scatter`` is
    that of the rig from day to day, shrunk to that of all rigs.
    """

    kind: Kind
    key: Key
    first: Baseline | PullSet
    revision: RigRevision
    points: tuple[Point, ...]
    watch: StraightLineWatch | None
    why_not: str
    scatter: Scatter

    @property
    def what(self) -> str:
        """What was pulled, with its conditions where they are not the usual ones."""
        session = self.first.session
        usual = (Session.State.DRY, Session.Loading.STATIC)
        unusual = (c for c in (session.state, session.loading) if c not in usual)
        return ", ".join([self.first.specimen, *unusual])

    @property
    def rows(self) -> tuple[ChartRow, ...]:
        """Each session with its change since the first, and whether a chart signals at it."""
        changes: Sequence[Change | None] = [None] * len(self.points)
        if self.watch:
            changes = [None, *self.watch.since_first]
        return tuple(
            ChartRow(point, change, point in self.signals)
            for point, change in zip(self.points, changes, strict=True)
        )

    @property
    def signals(self) -> tuple[Point, ...]:
        """Sessions at which a chart signals."""
        return tuple(self.points[index] for index in self.watch.signals) if self.watch else ()

    @property
    def affected(self) -> tuple[PullSet, ...]:
        """Sets of the sessions at which a chart signals."""
        return tuple(pull_set for point in self.signals for pull_set in point.sets)


def charted(rig: Rig) -> list[Series]:
    """The series of a rig that have something to chart."""
    return charted_of(series_of(rig))


def charted_of(series: Sequence[Series]) -> list[Series]:
    """Those of some series that run over two sessions or more."""
    return [one for one in series if len({point.session.pk for point in one.points}) > 1]


def series_of(rig: Rig) -> list[Series]:
    """Every series of a rig: the newest revision first, straight line before joins."""
    found, _ = _of_rig(rig)
    return sorted(found, key=lambda one: (-one.revision.number, one.kind == "join", one.what))


def straight_series(baseline: Baseline) -> Series | None:
    """The series that a baseline belongs to; None where too few of it parted to have a mean."""
    key = _specimen(baseline.line_id, baseline.spool)
    return _with_key("straight line", key, baseline.session)


def join_series(pull_set: PullSet) -> Series | None:
    """The series that a pull set belongs to; None where it has no figures."""
    return _with_key("join", _tie(pull_set), pull_set.session)


def _with_key(kind: Kind, key: Key, session: Session) -> Series | None:
    wanted = (kind, session.revision_id, (*key, *_conditions(session)))
    found, _ = _of_rig(session.revision.rig)
    return next((one for one in found if (one.kind, one.revision.pk, one.key) == wanted), None)


def report_signals(session_id: int) -> None:
    """Notify the tester, once, of every straight-line chart that signals at this session.

    In the caller's transaction, after screening, so that straight line that is held causes no
    warning. For a session without pull sets only the chart on the rig's page shows it. The rig's
    scatter, which all rigs are judged by, is renewed. Locks: the row of the first set concerned.
    """
    session = Session.objects.select_related("revision__rig").get(pk=session_id)
    found, histories = _of_rig(session.revision.rig)
    for kind, history in histories.items():
        keep(session.revision.rig, kind, history)
    for series in found:
        for point in series.signals if series.kind == "straight line" else ():
            if point.session.pk == session_id and point.sets:
                _notify_once(point, _warning(series, point))


def _of_rig(rig: Rig) -> tuple[list[Series], dict[Kind, ScatterHistory]]:
    """The series of a rig, judged by its own scatter, and that scatter."""
    sessions = _sessions(Session.objects.filter(revision__rig=rig))
    place = {session.pk: at for at, session in enumerate(sessions)}
    repeated = [*_straight(sessions), *_joins(sessions)]
    prior = priors()
    histories = {
        kind: history_of(_shown([one for one in repeated if one.kind == kind], place), prior[kind])
        for kind in KINDS
    }
    return [_series(one, histories[one.kind], place) for one in repeated], histories


def _shown(repeated: Sequence[Repeated], place: Mapping[int, int]) -> dict[int, list[float]]:
    """What each session of those after the first shows of the scatter, by place in time."""
    shown: dict[int, list[float]] = defaultdict(list)
    for one in repeated:
        try:
            factors = successive_factors(*one.columns).tolist()
        except MetrologyError:
            continue
        for point, factor in zip(one.points[1:], factors, strict=True):
            shown[place[point.session.pk]].append(factor)
    return shown


def _notify_once(point: Point, text: str) -> None:
    """Locks the row of the first set, so that two concurrent jobs notify once."""
    pull_set = PullSet.objects.select_for_update(no_key=True).get(pk=point.sets[0].pk)
    if not Notice.objects.filter(pull_set=pull_set, baseline__in=point.sources).exists():
        notices.notify_owner(pull_set, text, baseline=Baseline.objects.get(pk=point.sources[0]))


def _warning(series: Series, point: Point) -> str:
    named = ", ".join(f"set {pull_set.pk}" for pull_set in point.sets)
    return (
        f"The chart of {series.what} on {series.revision} signals at the session of "
        f"{point.session.pulled_on:%Y-%m-%d}: this line parted at {point.mean_N:.1f} N there. "
        "Look at the zero and the grips, hang the check weights, and pull the same spool again. "
        f"The efficiencies ({named}) are against that day's own straight line, so that a change "
        "of gain cancels in them; a moved zero does not."
    )


def _sessions(sessions: QuerySet[Session]) -> list[Session]:
    """Current sessions with all that is charted of them, by day, in six queries.

    What is held, rejected or withdrawn is left out, straight line as well as sets.
    """
    pull_sets = PullSet.objects.exclude(state__in=OUT).select_related(
        "connection", "main_line", "leader_line", "normalised__baseline"
    )
    return list(
        sessions.filter(standing=Session.Standing.CURRENT)
        .select_related("revision__rig__owner", "contributor")
        .prefetch_related(
            "revision__calibrations",
            Prefetch("baselines", usable(Baseline.objects.select_related("line").order_by("pk"))),
            "baselines__pulls",
            Prefetch("pull_sets", pull_sets.order_by("pk")),
        )
        .order_by("pulled_on", "pk")
    )


def _straight(sessions: Sequence[Session]) -> Iterator[Repeated]:
    found: dict[tuple[int, Key], list[Point]] = defaultdict(list)
    first: dict[Key, Baseline] = {}
    for session in sessions:
        pulled: dict[Specimen, list[Baseline]] = defaultdict(list)
        for baseline in session.baselines.all():
            pulled[Specimen(baseline.line, baseline.spool)].append(baseline)
        strengths = straight_strengths(
            scale_of(session),
            {what: [p for b in parts for p in b.pulls.all()] for what, parts in pulled.items()},
        )
        for what, strength in strengths.items():
            if isinstance(strength, Strength):
                key = (*_specimen(what.line.pk, what.spool), *_conditions(session))
                first.setdefault(key, pulled[what][0])
                found[session.revision_id, key].append(_point(session, pulled[what], strength))
    for (_, key), points in found.items():
        yield Repeated("straight line", key, first[key], tuple(points))


def _measured_by(baselines: Sequence[Baseline], session: Session) -> Iterator[PullSet]:
    ids = {baseline.pk for baseline in baselines}
    for pull_set in session.pull_sets.all():
        normalised = _figures(pull_set)
        if normalised is not None and normalised.baseline_id in ids:
            yield pull_set


def _joins(sessions: Sequence[Session]) -> Iterator[Repeated]:
    found: dict[tuple[int, Key], list[Point]] = defaultdict(list)
    for session in sessions:
        for pull_set in session.pull_sets.all():
            figures = _figures(pull_set)
            if figures is not None and figures.counted > 1:
                key = (*_tie(pull_set), *_conditions(session))
                found[session.revision_id, key].append(
                    Point(
                        session,
                        (pull_set.pk,),
                        figures.mean_N,
                        figures.cv,
                        figures.counted,
                        (pull_set,),
                    )
                )
    for (_, key), points in found.items():
        yield Repeated("join", key, points[0].sets[0], tuple(points))


def _figures(pull_set: PullSet) -> NormalisedSet | None:
    return getattr(pull_set, "normalised", None)


def _conditions(session: Session) -> Key:
    return session.state, session.loading


def _specimen(line_id: int | None, spool: str) -> Key:
    """The key of straight line from one spool."""
    return line_id, spool


def _tie(pull_set: PullSet) -> Key:
    """The key of sets of the same tie."""
    return (
        pull_set.connection_id,
        pull_set.doubled,
        _specimen(pull_set.main_line_id, pull_set.main_spool),
        _specimen(pull_set.leader_line_id, pull_set.leader_spool),
        pull_set.terminal,
        tuple(sorted(pull_set.parameters.items())),
        pull_set.tyer,
    )


def _point(session: Session, pulled: Sequence[Baseline], found: Strength) -> Point:
    sources = tuple(baseline.pk for baseline in pulled)
    sets = tuple(_measured_by(pulled, session))
    return Point(session, sources, found.mean_N, found.cv, found.n, sets)


def _series(one: Repeated, history: ScatterHistory, place: Mapping[int, int]) -> Series:
    watch, why_not = None, ""
    before = [history.before(place[point.session.pk]) for point in one.points]
    try:
        watch = watch_straight_line(*one.columns, history.now, before)
    except MetrologyError as error:
        why_not = gettext("There is nothing to chart yet: %(error)s.") % {"error": error}
    revision = one.points[0].session.revision
    return Series(one.kind, one.key, one.first, revision, one.points, watch, why_not, history.now)
