"""Values that come again: equal readings within sets, and runs of readings copied between sets.

Number of equal pairs among normal readings on the scale's grid: for n readings with standard
deviation s on a grid of d it is about n(n-1)/2 d/(2 s sqrt(pi)) (Simonsohn's number bunching).
Here the chance of a pair is summed over the grid's cells, which holds for coarse scales as well,
and the count's variance carries the triples that pairs share, so that its tail is a negative
binomial's rather than a Poisson's. Every such chance is that of readings rounded as these are
(`rounding.heaping`): people who round agree more often, and no one is blamed for it.
"""

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import binom, iqr, nbinom

from results.statistics.screening.check import Check, Level
from results.statistics.screening.rounding import heaping

LEAST_PULLS = 8
LEAST_RUN = 4
NORMAL_IQR = 1.349
MANY = 20
MISFIT = 0.15
"""Share by which the pairs of the normal law may be wrong, as loads are not quite normal: in sets
of hundreds of pulls that is more than chance (ours, measured on simulated leagues; no source)."""
ALPHA = 0.001
BUNCHING = "Simonsohn (2019), number bunching; expected pairs of normal readings on a grid"
COPIED = "Carlisle (2017) and general practice: runs of equal ordered readings"


def scatter_in_steps(steps: ArrayLike) -> float:
    """Standard deviation in steps of the scale, at least that of rounding, 1/sqrt(12)."""
    return max(float(np.std(np.asarray(steps, dtype=float), ddof=1)), 12**-0.5)


def expected_pairs(steps: ArrayLike) -> tuple[float, float]:
    """Mean and variance of the number of equal pairs that chance gives readings like these."""
    values = np.asarray(steps, dtype=float)
    sd = scatter_in_steps(values)
    if values.size >= MANY:
        # A few pulls far off widen the standard deviation, and not the heap in the middle.
        sd = min(sd, max(float(iqr(values)) / NORMAL_IQR, 12**-0.5))
    two, three = heaping(values).chances_to_agree(float(values.mean()), sd)
    pairs = values.size * (values.size - 1) / 2
    meeting = values.size * (values.size - 1) * (values.size - 2)
    return pairs * two, pairs * two * (1 - two) + meeting * (three - two**2)


def equal_pairs(steps: ArrayLike) -> int:
    """Number of pairs of equal readings."""
    _, counts = np.unique(np.asarray(steps), return_counts=True)
    return int((counts * (counts - 1) // 2).sum())


def repeated_values(
    applies_to: str, sets: Iterable[ArrayLike], misfit: float = MISFIT, alpha: float = ALPHA
) -> Check | None:
    """Whether equal readings are too many, added over sets of eight pulls or more."""
    kept = [steps for steps in map(np.asarray, sets) if steps.size >= LEAST_PULLS]
    if not kept:
        return None
    observed = sum(equal_pairs(steps) for steps in kept)
    mean, variance = np.sum([expected_pairs(steps) for steps in kept], axis=0).tolist()
    # A negative binomial of this mean and variance; near a Poisson's it is all but one.
    spread = max(variance, mean * (1 + 1e-6)) + (misfit * mean) ** 2
    tail = nbinom(mean**2 / (spread - mean), mean / spread)
    return Check(
        "repeated values",
        applies_to,
        float(observed),
        float(tail.isf(alpha)),
        float(tail.sf(observed - 1)),
        Level.NONE,
        f"{observed} pairs of pulls in the same set show exactly the same reading; with this "
        f"scatter and this scale chance gives about {mean:.1f}.",
        BUNCHING,
        alpha=alpha,
    )


def longest_common_run(first: Sequence[int], second: Sequence[int]) -> int:
    """Length of the longest run of readings that stands in both, in order.

    Runs of twice a length are numbered from pairs of that length (Karp, Miller & Rosenberg 1972,
    Proc. 4th ACM Symposium on Theory of Computing, 125-136); O(n log n) rounds of sorting.
    """
    n, both = len(first), np.concatenate((first, second))
    numbers = [np.unique(both, return_inverse=True)[1]]
    while 2 ** len(numbers) <= min(n, len(second)):
        last, length = numbers[-1], 2 ** (len(numbers) - 1)
        numbers.append(_numbered(last[:-length], last[length:]))
    best, runs = 0, np.zeros(both.size, dtype=np.intp)
    for power in range(len(numbers) - 1, -1, -1):
        longer = best + 2**power
        if longer > min(n, len(second)):
            continue
        ahead = numbers[power][best:]
        size = min(runs.size, ahead.size)
        joined = _numbered(runs[:size], ahead[:size])
        if np.intersect1d(joined[: n - longer + 1], joined[n:]).size:
            best, runs = longer, joined
    return best


def _numbered(first: NDArray[np.intp], second: NDArray[np.intp]) -> NDArray[np.intp]:
    """A number for each pair, the same for the same pairs."""
    pairs = first * (int(second.max(initial=0)) + 1) + second
    numbers: NDArray[np.intp] = np.unique(pairs, return_inverse=True)[1]
    return numbers


def longest_aligned_run(first: Sequence[int], second: Sequence[int]) -> int:
    """Length of the longest run that stands in both and begins at the same pull."""
    shorter = min(len(first), len(second))
    differ = np.asarray(first[:shorter]) != np.asarray(second[:shorter])
    ends = np.concatenate(([-1], np.flatnonzero(differ), [shorter]))
    return int(np.diff(ends).max()) - 1


def copied_run(
    name: str,
    applies_to: str,
    steps: Sequence[int],
    alike: Sequence[tuple[str, Sequence[int]]],
    compared: int,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether a run of these readings stands in another set as well.

    ``alike`` are those of the ``compared`` sets that may share readings with it, as (set,
    readings). A run of r between two sets of n and m readings comes by chance in at most n m P^r
    cases, or min(n, m) P^r where it begins at the same pull in both, with P the chance that two
    readings agree; the smaller counts, times two for having a choice, times the sets compared.
    None below four readings or without a set to compare with.
    """
    if len(steps) < LEAST_RUN or not compared:
        return None
    mean, sd = float(np.mean(steps)), scatter_in_steps(steps)
    agree, _ = heaping(steps).chances_to_agree(mean, sd)
    starts = {tuple(steps[i : i + LEAST_RUN]) for i in range(len(steps) - LEAST_RUN + 1)}
    chance, run, found = 1.0, 0, ""
    for other, readings in alike:
        if not _shares_a_start(readings, starts):
            continue
        longest = longest_common_run(steps, readings)
        aligned = longest_aligned_run(steps, readings)
        shorter = min(len(steps), len(readings))
        by_chance = min(
            len(steps) * len(readings) * agree**longest,
            shorter * agree**aligned if aligned >= LEAST_RUN else 1.0,
        )
        if 2 * compared * by_chance <= chance:
            chance, run, found = 2 * compared * by_chance, longest, other
    return Check(
        name,
        applies_to,
        float(run),
        float(LEAST_RUN),
        chance,
        Level.NONE,
        f"{run} readings in a row are the same as in {found}; chance alone would do that in "
        f"{100 * chance:.2g} of 100 cases."
        if run
        else f"No run of {LEAST_RUN} readings stands in any of {compared} other sets as well.",
        COPIED,
        alpha=alpha,
    )


def agreeing_sets(applies_to: str, sets: Sequence[ArrayLike], alpha: float = ALPHA) -> Check | None:
    """Whether the sets of a session agree pull by pull with one of them, beyond chance.

    Given the one, the others' agreements are independent trials with the chance that each set's
    own normal distribution gives that reading; a binomial of their mean bounds the tail (Hoeffding
    1956, Annals of Mathematical Statistics 27:713). The set agreed with most counts, times their
    number. None with fewer than two sets of four readings.
    """
    kept = [steps for steps in map(np.asarray, sets) if steps.size >= LEAST_RUN]
    if len(kept) < 2:
        return None
    found = [_agreements(one, kept) for one in kept]
    tails = [float(binom.sf(agreed - 1, trials, mean)) for agreed, trials, mean in found]
    best = int(np.argmin(tails))
    agreed, trials, mean = found[best]
    return Check(
        "sets that agree pull by pull",
        applies_to,
        float(agreed),
        float(binom.isf(alpha / len(kept), trials, mean)),
        min(1.0, len(kept) * tails[best]),
        Level.NONE,
        f"{agreed} of {trials} pulls show the very reading that the same pull of another set in "
        f"this session shows; chance gives about {trials * mean:.1f}.",
        COPIED,
        alpha=alpha,
    )


def _agreements(
    one: NDArray[np.int64], sets: Sequence[NDArray[np.int64]]
) -> tuple[int, int, float]:
    """Pulls of the other sets that agree with ``one``, pulls compared, and their mean chance."""
    agreed, chances = 0, []
    for other in sets:
        if other is one:
            continue
        n = min(one.size, other.size)
        mean, sd = float(other.mean()), scatter_in_steps(other)
        chances.append(heaping(other).chances(one[:n], mean, sd))
        agreed += int((one[:n] == other[:n]).sum())
    together = np.concatenate(chances)
    return agreed, together.size, float(together.mean())


def _shares_a_start(readings: Sequence[int], starts: set[tuple[int, ...]]) -> bool:
    last = len(readings) - LEAST_RUN
    return any(tuple(readings[i : i + LEAST_RUN]) in starts for i in range(last + 1))
