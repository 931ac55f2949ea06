"""The form of an upload: one session, its baselines of straight line and its pull sets.

These structs are the only definition of the form. ``msgspec`` converts a whole document by them
at once; where that fails, ``results.intake.walk`` goes through it field by field by the same
annotations, and ``description`` is what it says was expected.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import Annotated, Any, Literal

from django.utils.translation import gettext_noop
from msgspec import Meta, Struct

from results.intake.limits import (
    MOST_PARAMETERS,
    MOST_PULLS_OF_A_SET,
    MOST_SAMPLES,
    MOST_SETS,
)
from rigs.metrology import bounds

# No control characters, lone surrogates or marks that turn the direction of writing; a PostgreSQL
# text can't hold the first of them, and the others can make one name look like another.
_PRINTABLE = r"[^\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
_PROSE = (
    r"[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)
_NAME = rf"\A(?=.*\S){_PRINTABLE}*\Z"
_LINE_OF_TEXT = rf"\A{_PRINTABLE}*\Z"


def said(expected: str, **values: object) -> dict[str, Any]:
    """What was expected, for an annotation: in English, and what it is translated from."""
    words = expected % values if values else expected
    return {"description": words, "extra": {"expected": expected, "values": values}}


Name = Annotated[
    str,
    Meta(max_length=120, pattern=_NAME, **said(gettext_noop("a name of at most 120 characters"))),
]
Short = Annotated[
    str,
    Meta(
        max_length=60,
        pattern=_LINE_OF_TEXT,
        **said(gettext_noop("at most 60 printable characters")),
    ),
]
Label = Annotated[
    str,
    Meta(max_length=60, pattern=_NAME, **said(gettext_noop("a label of at most 60 characters"))),
]
Prose = Annotated[
    str,
    Meta(
        max_length=4000,
        pattern=rf"\A{_PROSE}*\Z",
        **said(gettext_noop("text of at most 4000 characters")),
    ),
]
Unit = Annotated[
    str,
    Meta(
        max_length=10,
        pattern=_NAME,
        **said(gettext_noop("a unit of force: N, kN, lbf, kgf, gf or ozf")),
    ),
]
Mode = Annotated[
    Literal["join", "slip", "line", "grip", "terminal", "none", "void"],
    Meta(
        **said(
            gettext_noop(
                "a failure mode: join, slip (of the join), line (clear of the join), grip (at the "
                "rig), terminal, none (it held) or void (not to count)"
            )
        )
    ),
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


class TraceDocument(Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """Force over time of one pull, sample by sample."""

    unit: Unit
    time_s: Annotated[
        list[float],
        Meta(
            max_length=MOST_SAMPLES,
            **said(
                gettext_noop("at most %(most)s seconds %(bounds)s, none before the one before it"),
                most=MOST_SAMPLES,
                bounds=bounds.TRACE_TIME_s,
            ),
        ),
    ]
    force: Annotated[
        list[float],
        Meta(
            max_length=MOST_SAMPLES,
            **said(
                gettext_noop("as many forces as seconds, each %(bounds)s N"),
                bounds=bounds.TRACE_FORCE_N,
            ),
        ),
    ]
    started_at: Annotated[
        Annotated[datetime, Meta(tz=True)] | None,
        Meta(**said(gettext_noop("the moment of second 0 with its zone, as 2026-01-31T18:00:00Z"))),
    ] = None


class PullDocument(Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """One pull; ``reading`` may be left out only where the mode is void or a trace is there."""

    failure_mode: Mode
    reading: Annotated[
        float | int | WrittenReading | None,
        Meta(
            **said(
                gettext_noop("a number, as 20.5 or '20,5 lbf': a force %(bounds)s N"),
                bounds=bounds.READING_N,
            )
        ),
    ] = None
    unit: Unit | None = None
    place: Annotated[
        str,
        Meta(
            max_length=40,
            pattern=_LINE_OF_TEXT,
            **said(gettext_noop("at most 40 printable characters")),
        ),
    ] = ""
    slipped_first: Annotated[bool, Meta(**said(gettext_noop("true or false")))] = False
    time_to_break_s: Annotated[
        Annotated[float, _above(bounds.TIME_TO_BREAK_s)] | None,
        Meta(**said(gettext_noop("seconds, %(bounds)s"), bounds=bounds.TIME_TO_BREAK_s)),
    ] = None
    note: Annotated[
        str,
        Meta(
            max_length=300,
            pattern=_LINE_OF_TEXT,
            **said(gettext_noop("at most 300 printable characters")),
        ),
    ] = ""
    trace: Annotated[
        TraceDocument | None,
        Meta(
            **said(
                gettext_noop(
                    "force over time: {'unit': 'lbf', 'time_s': [0, 0.1, ...], 'force': [0, 0.2, "
                    "...]}, or null"
                )
            )
        ),
    ] = None


Pulls = Annotated[
    list[PullDocument],
    Meta(**said(gettext_noop("a list of at most %(most)s pulls"), most=MOST_PULLS_OF_A_SET)),
]
DiscardedTies = Annotated[
    int,
    _from(bounds.DISCARDED_TIES),
    Meta(**said(gettext_noop("a whole number %(bounds)s"), bounds=bounds.DISCARDED_TIES)),
]
TimeToTie = Annotated[
    Annotated[float, _above(bounds.TIME_TO_TIE_s)] | None,
    Meta(**said(gettext_noop("seconds to tie one, %(bounds)s"), bounds=bounds.TIME_TO_TIE_s)),
]
JoinDiameter = Annotated[
    Annotated[float, _above(bounds.JOIN_DIAMETER_mm)] | None,
    Meta(
        **said(
            gettext_noop("millimetres at the thickest, %(bounds)s"),
            bounds=bounds.JOIN_DIAMETER_mm,
        )
    ),
]


class BaselineDocument(Struct, frozen=True, forbid_unknown_fields=True):
    """Straight-line pulls of one line from one spool."""

    line: Name
    pulls: Pulls
    spool: Short = ""
    position: Annotated[
        Literal["before", "between", "after"],
        Meta(**said(gettext_noop("before, between or after"))),
    ] = "before"


class PullSetDocument(Struct, frozen=True, forbid_unknown_fields=True):
    """Pulls of one join, tied one way, between one pair of lines or a line and a terminal."""

    label: Label
    connection: Name
    main: Annotated[LineOnSpool, Meta(**said(gettext_noop("a line: {'line': ..., 'spool': ...}")))]
    pulls: Pulls
    doubled: Annotated[bool, Meta(**said(gettext_noop("true or false")))] = False
    leader: Annotated[
        LineOnSpool | None,
        Meta(**said(gettext_noop("a line: {'line': ..., 'spool': ...}, or null"))),
    ] = None
    terminal: Short = ""
    parameters: Annotated[
        dict[str, bool | WholeNumber | float | WrittenValue],
        Meta(
            max_length=MOST_PARAMETERS,
            **said(
                gettext_noop("at most %(most)s tie parameters by name, as {'turns_main': 6}"),
                most=MOST_PARAMETERS,
            ),
        ),
    ] = {}
    tyer: Short = ""
    discarded_ties: DiscardedTies = 0
    time_to_tie_s: TimeToTie = None
    join_diameter_mm: JoinDiameter = None
    note: Prose = ""


class CodedSetDocument(Struct, frozen=True, forbid_unknown_fields=True):
    """Pulls of what came under a code of a club's round, which stands for join and lines."""

    sample: Annotated[
        str,
        Meta(
            max_length=40,
            pattern=_NAME,
            **said(gettext_noop("the code on the label, eight letters and digits")),
        ),
    ]
    pulls: Pulls
    label: Label = "the code"
    tyer: Short = ""
    discarded_ties: DiscardedTies = 0
    time_to_tie_s: TimeToTie = None
    join_diameter_mm: JoinDiameter = None
    note: Prose = ""


class SessionDocument(Struct, frozen=True, forbid_unknown_fields=True):
    """One day at one revision of one rig."""

    rig: Name
    revision: Annotated[
        int,
        _from(bounds.REVISION_NUMBER),
        Meta(**said(gettext_noop("the number of a revision of the rig, from 1"))),
    ]
    pulled_on: Annotated[
        date,
        Meta(
            **said(
                gettext_noop("a date from %(first)s to today, as 2026-01-31"),
                first=bounds.EARLIEST_DAY,
            )
        ),
    ]
    state: Annotated[
        Literal["dry", "wetted", "soaked"], Meta(**said(gettext_noop("dry, wetted or soaked")))
    ]
    unit: Unit
    baselines: Annotated[
        list[BaselineDocument],
        Meta(**said(gettext_noop("a list of at most %(most)s baselines"), most=MOST_SETS)),
    ]
    pull_sets: Annotated[
        list[PullSetDocument],
        Meta(**said(gettext_noop("a list of at most %(most)s pull sets"), most=MOST_SETS)),
    ]
    loading: Annotated[
        Literal["static", "shock"], Meta(**said(gettext_noop("static or shock")))
    ] = "static"
    temperature_C: Annotated[
        Annotated[float, _from(bounds.TEMPERATURE_C)] | None,
        Meta(**said(gettext_noop("degrees Celsius, %(bounds)s"), bounds=bounds.TEMPERATURE_C)),
    ] = None
    soak_hours: Annotated[
        Annotated[float, _from(bounds.SOAK_h)] | None,
        Meta(**said(gettext_noop("hours, %(bounds)s"), bounds=bounds.SOAK_h)),
    ] = None
    note: Prose = ""

    def parts(self) -> Iterator[BaselineDocument | PullSetDocument]:
        """Whatever holds pulls."""
        yield from self.baselines
        yield from self.pull_sets
