"""Traces as bytes: whole steps of force and of the clock, their differences, deflated.

A logger's numbers are multiples of its step, and its clock counts ticks, so that both are whole
numbers; differences of these are small and repeat, and zlib (RFC 1950) stores what is left. What
was written with a decimal fraction comes back to the digit.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigs.metrology.errors import NotATrace, NotPositive, OutsideTheFormula
from rigs.metrology.traces.samples import Column, columns

FINEST_TICK = 6
"""Decimals of a second: a microsecond, finer than loggers print."""
MOST_SAMPLES = 20_000_000
LARGEST_COUNT = 2**52
"""Steps up to which a float keeps whole numbers apart."""

_MAGIC = b"T1"
_HEADER = struct.Struct("<2sBIbdbqq")
"""Magic, flags, samples, decimals of the clock, step as mantissa and decimals, first of both."""
_TIME_TWICE, _FORCE_TWICE = 1, 2
"""Flags: second differences instead of first ones."""


@dataclass(frozen=True)
class _Step:
    """Mantissa and decimals of a step: counts times one over ten to the other round rightly."""

    mantissa: float
    decimals: int

    @classmethod
    def of(cls, step: float) -> _Step:
        digits = Decimal(repr(float(step))).as_tuple()
        decimals = -int(digits.exponent)
        mantissa = int("".join(map(str, digits.digits)))
        if 0 <= decimals <= 15 and mantissa < 1_000_000:
            return cls(float(mantissa), decimals)
        return cls(step, 0)

    def values(self, counts: NDArray[np.int64]) -> Column:
        return np.asarray(counts * self.mantissa / 10.0**self.decimals, float)

    def counts(self, values: Column) -> NDArray[np.int64]:
        with np.errstate(over="ignore"):
            counts = np.rint(values * 10.0**self.decimals / self.mantissa)
        if not np.abs(counts).max(initial=0.0) < LARGEST_COUNT:
            raise OutsideTheFormula("more steps than can be counted")
        return counts.astype(np.int64)


def encode(time_s: ArrayLike, force: ArrayLike, step: float) -> bytes:
    """Times in seconds and forces in any unit, in multiples of the logger's ``step`` of it.

    Forces between two steps go to the nearer one. The clock's tick is found: the coarsest decimal
    fraction of a second that all times are multiples of, or a microsecond. Raises NotPositive for
    the step, OutsideTheFormula, and as `columns`.
    """
    times, forces = columns(time_s, force, least=1)
    if not (step > 0 and np.isfinite(step)):
        raise NotPositive(f"a step of {step}")
    if times.size > MOST_SAMPLES:
        raise OutsideTheFormula(f"{times.size} samples; at most {MOST_SAMPLES}")
    scale, decimals = _Step.of(step), clock_decimals(times)
    ticks, counts = _Step(1.0, decimals).counts(times), scale.counts(forces)
    time_twice, time_bytes = _packed(ticks)
    force_twice, force_bytes = _packed(counts)
    flags = _TIME_TWICE * time_twice + _FORCE_TWICE * force_twice
    first = int(ticks[0]), int(counts[0])
    head = _HEADER.pack(_MAGIC, flags, times.size, decimals, scale.mantissa, scale.decimals, *first)
    return head + struct.pack("<I", len(time_bytes)) + time_bytes + force_bytes


def decode(encoded: bytes) -> tuple[Column, Column]:
    """Times in seconds and forces in the unit they were encoded in. Raises NotATrace."""
    try:
        magic, flags, samples, decimals, mantissa, step_decimals, tick, count = _HEADER.unpack_from(
            encoded
        )
        (length,) = struct.unpack_from("<I", encoded, _HEADER.size)
    except struct.error as error:
        raise NotATrace("too short") from error
    is_sound = (
        magic == _MAGIC
        and 1 <= samples <= MOST_SAMPLES
        and 0 <= decimals <= FINEST_TICK
        and 0 <= step_decimals <= 15
        and np.isfinite(mantissa)
        and mantissa > 0
    )
    if not is_sound:
        raise NotATrace("a head that is none")
    body = encoded[_HEADER.size + 4 :]
    ticks = _unpacked(body[:length], samples, tick, is_twice=bool(flags & _TIME_TWICE))
    counts = _unpacked(body[length:], samples, count, is_twice=bool(flags & _FORCE_TWICE))
    return _Step(1.0, decimals).values(ticks), _Step(mantissa, step_decimals).values(counts)


def clock_decimals(times: Column) -> int:
    """The decimals of the clock's tick: the fewest that write all seconds, at most six."""
    for decimals in range(FINEST_TICK):
        ticks = times * 10.0**decimals
        # Seconds were rounded once when read (half a spacing, at most one of the ticks'), and are
        # again here (half of one).
        rounding = np.maximum(1e-7, 1.5 * np.spacing(np.abs(ticks)))
        if (np.abs(ticks - np.rint(ticks)) <= rounding).all():
            return decimals
    return FINEST_TICK


def _packed(counts: NDArray[np.int64]) -> tuple[bool, bytes]:
    """The smaller of first and second differences, by what their magnitudes take."""
    once = np.diff(counts)
    twice = np.concatenate([once[:1], np.diff(once)])
    sizes = [float(np.log2(1.0 + np.abs(differences)).sum()) for differences in (once, twice)]
    is_twice = sizes[1] < sizes[0]
    planes = _planes(twice if is_twice else once)
    # Noise repeats nothing: there, Huffman's code alone is the smaller one.
    packed = [_deflated(planes, strategy) for strategy in (zlib.Z_FILTERED, zlib.Z_HUFFMAN_ONLY)]
    return is_twice, min(packed, key=len)


def _deflated(planes: bytes, strategy: int) -> bytes:
    writer = zlib.compressobj(9, zlib.DEFLATED, zlib.MAX_WBITS, 9, strategy)
    return writer.compress(planes) + writer.flush()


def _planes(differences: NDArray[np.int64]) -> bytes:
    """Zigzag, so that small numbers of either sign have high bytes of zero; low bytes first.

    High bytes that are all zero are left out.
    """
    zigzag = ((differences << 1) ^ (differences >> 63)).astype("<u8")
    width = max(1, (int(zigzag.max(initial=0)).bit_length() + 7) // 8)
    return zigzag.view(np.uint8).reshape(-1, 8).T[:width].tobytes()


def _unpacked(packed: bytes, samples: int, first: int, *, is_twice: bool) -> NDArray[np.int64]:
    count = samples - 1
    try:
        reader = zlib.decompressobj()
        planes = reader.decompress(packed, 8 * count + 1)
    except zlib.error as error:
        raise NotATrace(str(error)) from error
    width = len(planes) // count if count else 0
    if len(planes) != width * count or width > 8 or not reader.eof or reader.unused_data:
        raise NotATrace(f"{len(planes)} bytes of differences for {samples} samples")
    wide = np.zeros((8, count), np.uint8)
    wide[:width] = np.frombuffer(planes, np.uint8).reshape(width, count)
    zigzag = wide.T.copy().view("<u8").ravel()
    differences = (zigzag >> np.uint64(1)).astype(np.int64) ^ -(zigzag & np.uint64(1)).astype(
        np.int64
    )
    if is_twice:
        differences = np.cumsum(differences)
    return np.concatenate([[first], first + np.cumsum(differences)])
