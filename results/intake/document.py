"""The form of an upload: one session, its baselines of straight line and its pull sets.

These structs are the only definition of the form. ``msgspec`` converts a whole document by them
at once; where that fails, ``results.intake.walk`` goes through it field by field by the same
annotations, and ``description`` is what it says was expected.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Annotated, Literal

from msgspec import Meta, Struct

from results.intake.limits import MOST_PARAMETERS, MOST_PULLS_OF_A_SET, MOST_SETS
from rigs.metrology import bounds

# No control characters, lone surrogates or marks that turn the direction of writing; a PostgreSQL
# text can't hold the first of them, and the others can make one name look like another.
_PRINTABLE = r"[^\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
_PROSE = (
    r"[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)
_NAME = rf"\A(?=.*\S){_PRINTABLE}*\Z"
_LINE_OF_TEXT = rf"\A{_PRINTABLE}*\Z"

Name = Annotated[
    str, Meta(max_length=120, pattern=_NAME, description="a name of at most 120 characters")
]
Short = Annotated[
    str, Meta(max_length=60, pattern=_LINE_OF_TEXT, description="at most 60 printable characters")
]
Label = Annotated[
    str, Meta(max_length=60, pattern=_NAME, description="a label of at most 60 characters")
]
Prose = Annotated[
    str,
    Meta(max_length=4000, pattern=rf"\A{_PROSE}*\Z", description="text of at most 4000 characters"),
]
Unit = Annotated[
    str,
    Meta(max_length=10, pattern=_NAME, description="a unit of force: N, kN, lbf, kgf, gf or ozf"),
]
Mode = Annotated[
    Literal["join", "slip", "line", "grip", "terminal", "none", "void"],
    Meta(description="a failure mode: join, slip, line, grip, terminal, none or void"),
]
WholeNumber = Annotated[int, Meta(ge=-1_000_000, le=1_000_000)]
WrittenValue = Annotated[str, Meta(max_length=120, pattern=_LINE_OF_TEXT)]
WrittenReading = Annotated[str, Meta(max_length=24, pattern=_LINE_OF_TEXT)]


def _from(within: bounds.Bounds) -> Meta:
    """Bounds, both ends included."""
    return Meta(ge=within.lowest, le=within.highest)


def _above(within: bounds.Bounds) -> Meta:
    """Bounds without their lower end."""
    return Meta(gt=within.lowest, le=within.highest)


class LineOnSpool(Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """A line by its name, and the spool it came off."""

    line: Name
    spool: Short = ""


class PullDocument(Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """One pull; ``reading`` may be left out only where the mode is void."""

    failure_mode: Mode
    reading: Annotated[
        float | int | WrittenReading | None,
        Meta(description=f"a number, as 20.5 or '20,5 lbf': a force {bounds.READING_N} N"),
    ] = None
    unit: Unit | None = None
    place: Annotated[
        str,
        Meta(max_length=40, pattern=_LINE_OF_TEXT, description="at most 40 printable characters"),
    ] = ""
    slipped_first: Annotated[bool, Meta(description="true or false")] = False
    time_to_break_s: Annotated[
        Annotated[float, _above(bounds.TIME_TO_BREAK_s)] | None,
        Meta(description=f"seconds, {bounds.TIME_TO_BREAK_s}"),
    ] = None
    note: Annotated[
        str,
        Meta(max_length=300, pattern=_LINE_OF_TEXT, description="at most 300 printable characters"),
    ] = ""


class BaselineDocument(Struct, frozen=True, forbid_unknown_fields=True):
    """Straight-line pulls of one line from one spool."""

    line: Name
    pulls: Annotated[
        list[PullDocument], Meta(description=f"a list of at most {MOST_PULLS_OF_A_SET} pulls")
    ]
    spool: Short = ""
    position: Annotated[
        Literal["before", "between", "after"], Meta(description="before, between or after")
    ] = "before"


class PullSetDocument(Struct, frozen=True, forbid_unknown_fields=True):
    """Pulls of one join, tied one way, between one pair of lines or a line and a terminal."""

    label: Label
    connection: Name
    main: Annotated[LineOnSpool, Meta(description="a line: {'line': ..., 'spool': ...}")]
    pulls: Annotated[
        list[PullDocument], Meta(description=f"a list of at most {MOST_PULLS_OF_A_SET} pulls")
    ]
    doubled: Annotated[bool, Meta(description="true or false")] = False
    leader: Annotated[
        LineOnSpool | None, Meta(description="a line: {'line': ..., 'spool': ...}, or null")
    ] = None
    terminal: Short = ""
    parameters: Annotated[
        dict[str, bool | WholeNumber | float | WrittenValue],
        Meta(
            max_length=MOST_PARAMETERS,
            description=f"at most {MOST_PARAMETERS} tie parameters by name, as {{'turns_main': 6}}",
        ),
    ] = {}
    tyer: Short = ""
    discarded_ties: Annotated[
        int,
        _from(bounds.DISCARDED_TIES),
        Meta(description=f"a whole number {bounds.DISCARDED_TIES}"),
    ] = 0
    time_to_tie_s: Annotated[
        Annotated[float, _above(bounds.TIME_TO_TIE_s)] | None,
        Meta(description=f"seconds to tie one, {bounds.TIME_TO_TIE_s}"),
    ] = None
    join_diameter_mm: Annotated[
        Annotated[float, _above(bounds.JOIN_DIAMETER_mm)] | None,
        Meta(description=f"millimetres at the thickest, {bounds.JOIN_DIAMETER_mm}"),
    ] = None
    note: Prose = ""


class SessionDocument(Struct, frozen=True, forbid_unknown_fields=True):
    """One day at one revision of one rig."""

    rig: Name
    revision: Annotated[
        int,
        _from(bounds.REVISION_NUMBER),
        Meta(description="the number of a revision of the rig, from 1"),
    ]
    pulled_on: Annotated[
        date, Meta(description=f"a date from {bounds.EARLIEST_DAY} to today, as 2026-01-31")
    ]
    state: Annotated[Literal["dry", "wetted", "soaked"], Meta(description="dry, wetted or soaked")]
    unit: Unit
    baselines: Annotated[
        list[BaselineDocument], Meta(description=f"a list of at most {MOST_SETS} baselines")
    ]
    pull_sets: Annotated[
        list[PullSetDocument], Meta(description=f"a list of at most {MOST_SETS} pull sets")
    ]
    loading: Annotated[Literal["static", "shock"], Meta(description="static or shock")] = "static"
    temperature_C: Annotated[
        Annotated[float, _from(bounds.TEMPERATURE_C)] | None,
        Meta(description=f"degrees Celsius, {bounds.TEMPERATURE_C}"),
    ] = None
    soak_hours: Annotated[
        Annotated[float, _from(bounds.SOAK_h)] | None,
        Meta(description=f"hours, {bounds.SOAK_h}"),
    ] = None
    note: Prose = ""

    def parts(self) -> Iterator[BaselineDocument | PullSetDocument]:
        """Whatever holds pulls."""
        yield from self.baselines
        yield from self.pull_sets
