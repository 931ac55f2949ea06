"""How each public function of screening is called with the hard inputs."""

from collections.abc import Callable
from functools import partial
from itertools import product

import numpy as np

from results.statistics.screening import (
    decided,
    digits,
    efficiencies,
    influence,
    judging,
    near_copies,
    order,
    over_time,
    pulls,
    recorded,
    repeats,
    rig,
    rounding,
    spacing,
    straight_line,
    units_of_sets,
    usual,
    weak_or_mixed,
)
from results.statistics.screening import scatter as screening_scatter
from tests.statistics.hard_arguments import (
    CHECKS,
    PAST,
    Calls,
    over,
)
from tests.statistics.hard_inputs import (
    CVS,
    FREEDOM,
    LOGS,
    POSITIVE,
    STEPS,
    VALUES,
)

TRACES = [
    recorded.recorded(np.concatenate([values, more]), step)
    for values, more, step in product(
        VALUES[::3], (VALUES[0], np.linspace(0.0, 90.0, 60)), (1e-9, 1.0)
    )
]
"""Rises of traces (n,), some of them long enough to be compared."""

SCREENING_CALLS: dict[str, Callable[[], Calls]] = {
    "screening.decided.share_alike": over(
        decided.share_alike, STEPS[::4], STEPS[::5], (1e-9, 1.0, 1e300)
    ),
    "screening.decided.same_in_order": over(decided.same_in_order, STEPS[::4], STEPS[::5]),
    "screening.decided.decided_before": over(
        decided.decided_before, ["x"], (0.0, 0.5, 1.0), ["held", "rejected"], (1, 10**9)
    ),
    "screening.digits.digit_counts": over(digits.digit_counts, STEPS),
    "screening.digits.digit_chi_square": over(
        digits.digit_chi_square, [[1] * 10, [0] * 9 + [1], [10**6] + [0] * 9]
    ),
    "screening.digits.terminal_digits": over(digits.terminal_digits, ["x"], STEPS, (0.3, 9.0, 1e5)),
    "screening.digits.heaped_digits": over(digits.heaped_digits, ["x"], STEPS, (0.3, 9.0, 1e5)),
    "screening.efficiencies.plausible_efficiency": over(
        efficiencies.plausible_efficiency, ["x"], POSITIVE
    ),
    "screening.efficiencies.above_the_line": over(
        efficiencies.above_the_line, ["x"], LOGS, CVS[:-1], FREEDOM
    ),
    "screening.efficiencies.above_the_pool": over(
        efficiencies.above_the_pool, ["x"], POSITIVE, LOGS, LOGS, CVS, FREEDOM
    ),
    "screening.efficiencies.below_the_pool": over(
        efficiencies.below_the_pool, ["x"], POSITIVE, LOGS, LOGS, CVS, FREEDOM
    ),
    "screening.influence.half_width": over(influence.half_width, CVS, (3, 4, 2000)),
    "screening.influence.influence_limit": over(influence.influence_limit, CVS, (0, 3)),
    "screening.influence.influence": over(
        partial(influence.influence, newcomers=True), ["x"], LOGS, CVS, (False, True)
    ),
    "screening.influence.confirms": over(influence.confirms, LOGS, CVS, LOGS, CVS),
    "screening.influence.lies_nearer": over(influence.lies_nearer, LOGS, LOGS, LOGS),
    "screening.judging.adjusted": over(judging.adjusted, [[], [0.0], [1.0] * 9, [1e-300, 0.5]]),
    "screening.judging.judge": over(judging.judge, CHECKS),
    "screening.near_copies.shape_of": over(near_copies.shape_of, VALUES, (0.0, 1.0, 1e9)),
    "screening.near_copies.written_step": over(near_copies.written_step, STEPS),
    "screening.near_copies.log_chances_alike": lambda: (
        partial(near_copies.log_chances_alike, one, np.stack([one[::-1], other]), step)
        for one, other, step in product(VALUES, VALUES, (0.0, 1.0, 1e9))
        if one.size == other.size
    ),
    "screening.near_copies.near_copy": over(
        near_copies.near_copy, ["x"], [[], [("y", -900.0, 9)], [("y", 0.0, 1)] * 3], (5, 900)
    ),
    "screening.near_copies.session_times_a_factor": over(
        near_copies.session_times_a_factor,
        ["x"],
        [[], [([], [])], [([1.0] * 9, [2.0] * 9)], [([0.0, -1.0, 5e-324], [1e308, 1.0, 2.0])],
         [(np.arange(1.0, 10.0), 1e-300 * np.arange(1.0, 10.0))], [([1.0, 2.0], [1.0])]],
        (1, 10**9), ["session 3"],
    ),
    "screening.near_copies.near_session": over(
        near_copies.near_session, ["x"], [[], [0.0, 0.0], [-900.0, -3.0]], (2, 9), (9, 900),
        (1, 99), ["y"],
    ),
    "screening.order.mann_kendall": over(order.mann_kendall, [v for v in VALUES if v.size]),
    "screening.order.von_neumann": over(
        order.von_neumann, [v for v in VALUES if v.size > 2 and np.ptp(v) > 0]
    ),
    "screening.order.order_trend": over(order.order_trend, ["x"], VALUES),
    "screening.order.serial_correlation": over(order.serial_correlation, ["x"], VALUES),
    "screening.over_time.session_scores": over(
        over_time.session_scores, [[0.1, 0.2, 0.3]], [[0.01] * 3, [1e-9, 1.0, 1e9]]
    ),
    "screening.over_time.slow_shift": over(
        over_time.slow_shift, ["x"], (0.0, 9.0), (0.0, 9.0), (1, 3, 900)
    ),
    "screening.over_time.parting_places": lambda: (
        partial(over_time.parting_places, "x", own, pulls, [share * 9] * m, [9] * m)
        for own, pulls, share, m in product((0, 5), (0, 5, 10**6), (0, 1), (0, 2, 3, 90))
    ),
    "screening.over_time.time_to_break": over(
        over_time.time_to_break, ["x"], [[], [0.2], [20.0] * 9]
    ),
    "screening.pulls.outlying_pull": over(
        pulls.outlying_pull, ["x"], [v for v in VALUES if np.all(v > 0)]
    ),
    "screening.recorded.recorded": over(recorded.recorded, VALUES, (1e-9, 1.0)),
    "screening.recorded.is_same": over(recorded.is_same, TRACES, TRACES),
    "screening.recorded.copied_traces": over(
        lambda one, other: recorded.copied_traces("x", [one, one, other], [("y", other)]),
        TRACES, TRACES,
    ),
    "screening.recorded.computed_traces": over(
        lambda *traces: recorded.computed_traces("x", traces), TRACES, TRACES
    ),
    "screening.recorded.traces_of_its_own": over(
        recorded.traces_of_its_own, ["x"], (0, 1, 9), (0, 1)
    ),
    "screening.repeats.scatter_in_steps": over(
        repeats.scatter_in_steps, [s for s in STEPS if s.size > 1]
    ),
    "screening.repeats.expected_pairs": over(
        repeats.expected_pairs, [s for s in STEPS if s.size > 1] + [np.array([1, 10**9])]
    ),
    "screening.repeats.equal_pairs": over(repeats.equal_pairs, STEPS),
    "screening.repeats.repeated_values": over(
        repeats.repeated_values, ["x"], [STEPS, [], *([s] for s in STEPS)]
    ),
    "screening.repeats.longest_common_run": over(
        repeats.longest_common_run,
        [s.tolist() for s in STEPS if s.size], [s.tolist() for s in STEPS[::7] if s.size],
    ),
    "screening.repeats.longest_aligned_run": over(
        repeats.longest_aligned_run, [s.tolist() for s in STEPS], [s.tolist() for s in STEPS[::7]]
    ),
    "screening.repeats.copied_run": lambda: (
        partial(repeats.copied_run, "n", "x", one.tolist(), [("y", other.tolist())], 9)
        for one, other in product(STEPS, STEPS[::5])
    ),
    "screening.repeats.agreeing_sets": over(
        repeats.agreeing_sets, ["x"], [STEPS, [], *([s, s + 1, s] for s in STEPS)]
    ),
    "screening.rig.calibration": over(rig.calibration, ["x"], [None, *PAST], POSITIVE),
    "screening.rig.moved_since": over(
        rig.moved_since, ["x"], POSITIVE, [v for v in VALUES if np.all(v > 0)]
    ),
    "screening.rig.like_pace": over(rig.like_pace, ["x"], POSITIVE, POSITIVE),
    "screening.rig.within_capacity": over(rig.within_capacity, ["x"], POSITIVE, POSITIVE),
    "screening.rig.possible_times": over(
        rig.possible_times, ["x"], (0, 20_000), (0.0, 1e9), (-9_999, 0, 2)
    ),
    "screening.rounding.heaping": over(rounding.heaping, STEPS),
    "screening.rounding.effective_step": over(
        rounding.effective_step, [s for s in STEPS if s.size]
    ),
    "screening.rounding.rounded_readings": over(
        rounding.rounded_readings, ["x"], STEPS, (0.1, 1e-9), ["lbf"]
    ),
    "screening.scatter.too_little_scatter": lambda: (
        partial(
            screening_scatter.too_little_scatter, "x", [cv] * n, [df] * n, [usual] * n, [step] * n
        )
        for cv, df, usual, step, n in product(CVS, FREEDOM, CVS[2:5], (0.0, 1e-9, 1.0), (0, 1, 9))
    ),
    "screening.scatter.scatter_of_no_hand": lambda: (
        partial(
            screening_scatter.scatter_of_no_hand, "x",
            *[screening_scatter.Scatters([cv] * n, [df] * n, [usual] * n, [step] * n)] * 2,
        )
        for cv, df, usual, step, n in product(CVS, FREEDOM, CVS[2:5], (0.0, 1e-9, 1.0), (0, 1, 9))
    ),
    "screening.scatter.few_steps_of_the_scale": over(
        lambda steps, cv: screening_scatter.few_steps_of_the_scale("x", [steps], [cv]),
        [s for s in STEPS if s.size < 50][::4], (1e-6, 0.04),
    ),
    "screening.scatter.more_scatter": over(
        screening_scatter.more_scatter, ["x"], CVS, FREEDOM, CVS, FREEDOM, (1, 900)
    ),
    "screening.spacing.greenwood": over(spacing.greenwood, [s for s in STEPS if s.size > 1]),
    "screening.spacing.even_spacing": over(
        spacing.even_spacing, ["x"], [s for s in STEPS if s.size < 50][::4]
    ),
    "screening.straight_line.nearest_mix_up": over(straight_line.nearest_mix_up, POSITIVE),
    "screening.straight_line.against_label": over(
        straight_line.against_label, ["x"], POSITIVE, POSITIVE
    ),
    "screening.straight_line.unit_mix_up": over(
        straight_line.unit_mix_up, ["x"], POSITIVE, [v for v in VALUES if np.all(v > 0)]
    ),
    "screening.straight_line.against_other_baselines": over(
        straight_line.against_other_baselines, ["x"], POSITIVE,
        [v for v in VALUES if np.all(v > 0)],
    ),
    "screening.straight_line.weak_under_strong_joins": over(
        straight_line.weak_under_strong_joins, ["x"], POSITIVE,
        [v for v in VALUES if np.all(v > 0)][::3], [[], [0.0], [3.0, 9.0]], (1.0, 7.0),
    ),
    "screening.straight_line.usual_straight": over(
        straight_line.usual_straight, [v for v in VALUES if np.all(v > 0)]
    ),
    "screening.units_of_sets.mixed_units_in_set": over(
        units_of_sets.mixed_units_in_set, ["x"], LOGS, LOGS, CVS[1:], ["", "lbf"]
    ),
    "screening.units_of_sets.units_within_set": over(
        units_of_sets.units_within_set, ["x"], [v for v in VALUES if np.all(v > 0)], ["", "lbf"]
    ),
    "screening.usual.median_deviation_sd": over(usual.median_deviation_sd, VALUES),
    "screening.usual.usual_among": over(usual.usual_among, VALUES),
    "screening.usual.usual_cv": lambda: (
        partial(usual.usual_cv, [cv] * n, [df] * n, range(n))
        for cv, df, n in product(CVS, FREEDOM, (0, 1, 9))
    ),
    "screening.usual.by_tester": lambda: (
        partial(usual.by_tester, v, np.arange(v.size) % 3) for v in VALUES
    ),
    "screening.weak_or_mixed.unit_slip": over(
        weak_or_mixed.unit_slip, VALUES, [["lbf"], ["kN"], []], [["N"]], [[], [0.7], [0.0, 1e300]]
    ),
}  # fmt: skip
