"""Which checks a session goes through, and what each applies to. No queries, nothing stored."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import wraps
from typing import ParamSpec, TypeVar

import numpy as np
import structlog

from results.models import Baseline, Pull, PullSet, Session
from results.screening import near_checks, over_time, recordings
from results.screening.evidence import (
    Evidence,
    Floats,
    JoinedEvidence,
    StraightEvidence,
    readings_of,
)
from results.screening.off_pool import off_its_pool, off_their_pools
from results.screening.shapes import Series
from results.screening.thresholds import tuned
from results.statistics.errors import StatisticsError
from results.statistics.screening import (
    digits,
    efficiencies,
    order,
    pulls,
    repeats,
    rig,
    rounding,
    scatter,
    spacing,
    straight_line,
    units_of_sets,
)
from results.statistics.screening import over_time as times
from results.statistics.screening.check import Check
from results.statistics.screening.judging import judge
from rigs.metrology.errors import MetrologyError
from rigs.metrology.units import parse_force
from rigs.models import Calibration

Given = ParamSpec("Given")
Answer = TypeVar("Answer")

log = structlog.get_logger(__name__)

OFF_THE_GRID = 0.05
"""In steps: readings farther from a whole step were not written in the scale's own unit."""


@dataclass(frozen=True)
class CheckOutcome:
    """A check with what it applies to: a set, a baseline and its sets, or else the session."""

    check: Check
    pull_set: PullSet | None = None
    baseline: Baseline | None = None

    def concerns(self, joined: JoinedEvidence) -> bool:
        """Whether a hold of this check holds that set."""
        if self.pull_set is not None:
            return self.pull_set.pk == joined.pull_set.pk
        if self.baseline is None:
            return True
        return joined.normalised is not None and joined.normalised.baseline_id == self.baseline.pk


def run_checks(evidence: Evidence) -> list[CheckOutcome]:
    """Every check that applies to a session, judged together."""
    found = [CheckOutcome(check) for check in _of_session(evidence) if check]
    for straight in evidence.straight:
        subject = f"{straight.baseline.line} straight"
        found += [
            CheckOutcome(check, baseline=straight.baseline)
            for check in _of_straight(evidence, straight, subject)
            if check
        ]
    for joined in evidence.joined:
        found += [
            CheckOutcome(check, pull_set=joined.pull_set)
            for check in _of_set(evidence, joined)
            if check
        ]
    found += [
        CheckOutcome(check, *_owner_of(own, evidence))
        for check, own in near_checks.of_series(evidence.near)
    ]
    judged = tuned(judge)([one.check for one in found])
    return [
        CheckOutcome(check, one.pull_set, one.baseline)
        for one, check in zip(found, judged, strict=True)
    ]


def _owner_of(own: Series, evidence: Evidence) -> tuple[PullSet | None, Baseline | None]:
    """The set that a series is, or the first baseline of the specimen that it is of."""
    for joined in evidence.joined:
        if joined.pull_set.pk == own.pull_set_id:
            return joined.pull_set, None
    for straight in evidence.straight:
        if any(pull.baseline_id == own.baseline_id for pull in straight.pulls):
            return None, straight.baseline
    return None, None


def asked(check: Callable[Given, Answer]) -> Callable[Given, Answer | None]:
    """The check at its thresholds; None where nothing can be computed of what there is.

    Loads below zero on a rig that was calibrated so, or readings alike to the last bit: screening
    then has nothing to say, and the session is worked out all the same.
    """

    @wraps(check)
    def answer(*given: Given.args, **named: Given.kwargs) -> Answer | None:
        try:
            return tuned(check)(*given, **named)
        except (StatisticsError, MetrologyError, ArithmeticError, np.linalg.LinAlgError) as error:
            log.info("a check could not be computed", check=check.__name__, why=str(error))
            return None

    return answer


def _of_session(evidence: Evidence) -> Iterator[Check | None]:
    subject, session = "the session", evidence.session
    every = [evidence.steps(part) for part in evidence.series if part]
    together = np.concatenate(every) if every else np.empty(0)
    readings_N = together * evidence.scale.resolution_N
    if together.size and _on_the_grid(together):
        whole = [np.rint(steps).astype(int) for steps in every]
        # A series that scatters over few steps has its own last digits, however long it is.
        wide = [steps for steps in every if np.std(steps) >= digits.LEAST_SCATTER_STEPS]
        if wide:
            within, shown = _scatter_within(wide), np.rint(np.concatenate(wide)).astype(int)
            yield asked(digits.terminal_digits)(subject, shown, within)
            yield asked(digits.heaped_digits)(subject, shown, within)
        yield asked(repeats.repeated_values)(subject, whole)
        written = parse_force(session.revision.resolution_written)
        yield asked(rounding.rounded_readings)(
            subject, np.concatenate(whole), written.value, written.unit
        )
    joined = [_steps_of(readings_of(one.pulls), evidence) for one in evidence.joined]
    yield asked(repeats.agreeing_sets)(subject, joined)
    yield from _little_scatter(subject, evidence, evidence.joined)
    yield _few_steps(subject, evidence)
    calibrated = _calibrated(evidence), _highest_load_N(evidence)
    yield from asked(rig.calibration)(subject, *calibrated) or ()
    capacity_N = session.revision.capacity_N
    if capacity_N and readings_N.size:
        yield asked(rig.within_capacity)(subject, float(readings_N.max()), capacity_N)
    yield asked(rig.possible_times)(
        subject,
        evidence.pulls_that_day,
        evidence.seconds_that_day,
        (session.pulled_on - session.received_at.date()).days,
    )
    yield _pace(subject, evidence)
    if session.loading == Session.Loading.STATIC:
        yield asked(times.time_to_break)(subject, _times_s(evidence.series))
    yield near_checks.of_session(evidence.near)


def _of_straight(
    evidence: Evidence, straight: StraightEvidence, subject: str
) -> Iterator[Check | None]:
    loads_N = evidence.scale.loads_N(straight.exact)
    yield asked(order.order_trend)(subject, loads_N)
    yield asked(order.serial_correlation)(subject, loads_N)
    yield asked(pulls.outlying_pull)(subject, loads_N)
    yield from recordings.checks(subject, evidence.recordings, straight.pulls)
    if straight.mean_N is None:
        return
    label_N = straight.baseline.line.label_strength_N
    if label_N is not None:
        yield asked(straight_line.against_label)(subject, straight.mean_N, label_N)
    others_N, unit = straight.others_N, _unit_of(straight.pulls)
    yield asked(straight_line.unit_mix_up)(subject, straight.mean_N, others_N, unit)
    yield asked(units_of_sets.units_within_set)(subject, loads_N, unit)
    yield asked(straight_line.against_other_baselines)(subject, straight.mean_N, others_N)
    off = [
        found
        for joined in evidence.joined
        if joined.normalised and joined.normalised.baseline_id == straight.baseline.pk
        for found in [off_its_pool(joined)]
        if found is not None
    ]
    yield asked(straight_line.weak_under_strong_joins)(
        subject,
        straight.mean_N,
        others_N,
        [one.t for one in off],
        min((one.degrees_of_freedom for one in off), default=1.0),
    )
    yield asked(rig.moved_since)(subject, straight.mean_N, straight.earlier_N)


def _of_set(evidence: Evidence, joined: JoinedEvidence) -> Iterator[Check | None]:
    subject = joined.pull_set.label
    shown = evidence.steps([pull for pull in joined.pulls if pull.reading_N is not None])
    loads_N = evidence.scale.loads_N(joined.exact)
    yield asked(order.order_trend)(subject, loads_N)
    yield asked(order.serial_correlation)(subject, loads_N)
    yield asked(pulls.outlying_pull)(subject, loads_N)
    if _on_the_grid(shown):
        yield asked(spacing.even_spacing)(subject, np.rint(shown) / _rounded_to(shown))
    yield asked(units_of_sets.units_within_set)(subject, loads_N, _unit_of(joined.pulls))
    yield from _copied(subject, evidence, joined)
    yield from recordings.checks(subject, evidence.recordings, joined.pulls)
    if joined.normalised is not None:
        yield from _of_efficiency(subject, evidence, joined)


def _of_efficiency(
    subject: str, evidence: Evidence, joined: JoinedEvidence
) -> Iterator[Check | None]:
    normalised, others = joined.normalised, joined.others
    assert normalised is not None
    assert others is not None
    yield asked(efficiencies.plausible_efficiency)(subject, normalised.efficiency)
    yield asked(efficiencies.above_the_line)(
        subject,
        normalised.log_ratio,
        (normalised.own_variance + normalised.shared_variance) ** 0.5,
        min(normalised.degrees_of_freedom, normalised.baseline_degrees_of_freedom),
    )
    if others.usual is None:
        return
    yield from over_time.checks(
        subject, joined.pull_set.pk, evidence.found.get(normalised.pool_id, []), others
    )
    usual = others.usual
    yield asked(scatter.more_scatter)(
        subject,
        normalised.cv,
        normalised.degrees_of_freedom,
        others.cv_join,
        float(others.members.degrees_of_freedom.sum()),
        len(others.members) + 1,
    )
    expected = (usual.centre, others.prediction_sd(usual, normalised), usual.degrees_of_freedom)
    yield asked(units_of_sets.mixed_units_in_set)(
        subject,
        normalised.log_ratio,
        usual.centre + off_their_pools(evidence.joined, joined),
        expected[1],
        _unit_of(joined.pulls),
    )
    found = (normalised.efficiency, normalised.log_ratio)
    yield asked(efficiencies.above_the_pool)(subject, *found, *expected)
    yield asked(efficiencies.below_the_pool)(subject, *found, *expected)


def _unit_of(pulls: Iterable[Pull]) -> str:
    """The unit of most of these pulls; empty without one."""
    units = [pull.unit for pull in pulls]
    return max(set(units), key=units.count) if units else ""


def _little_scatter(
    subject: str, evidence: Evidence, sets: Iterable[JoinedEvidence]
) -> Iterator[Check | None]:
    """Sets against the usual scatter of their pools, and together with their straight line."""
    rows: list[tuple[float, ...]] = []
    baselines: dict[int, tuple[float, ...]] = {}
    for joined in sets:
        if joined.normalised is None or joined.others is None:
            continue
        normalised, others = joined.normalised, joined.others
        resolution_N = evidence.scale.resolution_N
        rows.append(
            (
                normalised.cv,
                normalised.degrees_of_freedom,
                others.cv_join,
                resolution_N / normalised.mean_N,
            )
        )
        baselines[normalised.baseline_id] = (
            normalised.baseline_cv,
            normalised.baseline_degrees_of_freedom,
            others.cv_baseline,
            resolution_N / normalised.baseline_mean_N,
        )
    if not rows:
        return
    tied, straight = np.array(rows).T, np.array(list(baselines.values())).T
    tied[3] *= _rounded_to(_steps_together(evidence, evidence.joined))
    straight[3] *= _rounded_to(_steps_together(evidence, evidence.straight))
    yield asked(scatter.too_little_scatter)(subject, *tied)
    yield asked(scatter.scatter_of_no_hand)(
        subject, scatter.Scatters(*tied), scatter.Scatters(*straight)
    )


def _few_steps(subject: str, evidence: Evidence) -> Check | None:
    """Sets alone: straight line scatters too little to show on steps that are wide for a join."""
    compared = [joined for joined in evidence.joined if joined.others is not None]
    rounded_to = _rounded_to(_steps_together(evidence, evidence.joined))
    return asked(scatter.few_steps_of_the_scale)(
        subject,
        [evidence.steps(joined.exact) / rounded_to for joined in compared],
        [joined.others.cv_join for joined in compared if joined.others is not None],
    )


def _copied(subject: str, evidence: Evidence, joined: JoinedEvidence) -> Iterator[Check | None]:
    """Copied readings: in other sets of the session, and in other sessions."""
    here = [
        (f"'{other.pull_set.label}' of the same session", readings_of(other.pulls))
        for other in evidence.joined
        if other is not joined
    ]
    steps = _steps_of(readings_of(joined.pulls), evidence)
    for name, alike, compared in (
        ("copied within the session", here, len(here)),
        ("copied from another session", joined.alike, joined.compared),
    ):
        series = [(of, _steps_of(readings_N, evidence)) for of, readings_N in alike]
        yield asked(repeats.copied_run)(name, subject, steps, series, compared)


def _steps_of(readings_N: list[float], evidence: Evidence) -> list[int]:
    steps = np.rint(np.array(readings_N) / evidence.scale.resolution_N)
    return [int(step) for step in steps]


def _steps_together(
    evidence: Evidence, parts: Sequence[JoinedEvidence | StraightEvidence]
) -> Floats:
    shown = [pull for part in parts for pull in part.pulls if pull.reading_N is not None]
    return evidence.steps(shown)


def _rounded_to(steps: Floats) -> int:
    """The step that readings are rounded to, in steps of the scale; 1 in another unit than its."""
    return rounding.effective_step(steps) if steps.size and _on_the_grid(steps) else 1


def _on_the_grid(steps: Floats) -> bool:
    return bool((np.abs(steps - np.rint(steps)) <= OFF_THE_GRID).all())


def _scatter_within(series: list[Floats]) -> float:
    """Standard deviation within series, in steps of the scale."""
    squares = sum(float(((steps - steps.mean()) ** 2).sum()) for steps in series)
    freedom = sum(steps.size - 1 for steps in series)
    return (squares / freedom) ** 0.5 if freedom else 0.0


def _calibrated(evidence: Evidence) -> rig.Calibrated | None:
    known = evidence.scale.calibration
    if known is None:
        return None
    return rig.Calibrated(
        age_days=(evidence.session.pulled_on - known.made_on).days,
        lowest_N=known.lowest_N,
        highest_N=known.highest_N,
        worst_error=_worst_error(known, evidence.scale.resolution_N),
    )


def _worst_error(known: Calibration, resolution_N: float) -> float:
    """Largest relative error under a known force that the line and half a step don't explain."""
    found = [one for one in known.readings.all() if one.force_N > 0]
    errors_N = (abs((one.reading_N - known.offset_N) / known.gain - one.force_N) for one in found)
    return max(
        (
            max(0.0, error_N - resolution_N / 2) / one.force_N
            for one, error_N in zip(found, errors_N, strict=True)
        ),
        default=0.0,
    )


def _highest_load_N(evidence: Evidence) -> float:
    every = [pull for part in evidence.series for pull in part]
    return float(evidence.scale.loads_N(every).max()) if every else 0.0


def _pace(subject: str, evidence: Evidence) -> Check | None:
    joined_s = _median_s(pull for part in evidence.joined for pull in part.pulls)
    straight_s = _median_s(pull for part in evidence.straight for pull in part.pulls)
    return asked(rig.like_pace)(subject, joined_s, straight_s) if joined_s and straight_s else None


def _times_s(series: Iterable[list[Pull]]) -> list[float]:
    every = (pull.time_to_break_s for part in series for pull in part)
    return [time_s for time_s in every if time_s is not None]


def _median_s(timed: Iterable[Pull]) -> float | None:
    times = [pull.time_to_break_s for pull in timed if pull.time_to_break_s is not None]
    return float(np.median(times)) if times else None
