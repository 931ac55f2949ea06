"""What a pool's figure is declared by: one entry says all that is known of it but its value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, StrEnum

from django.utils.functional import Promise


class Kept(StrEnum):
    """Where a version keeps a figure: in columns of its own, or as a member of one in JSON."""

    COLUMN = "column"
    FIGURES = "figures"
    FINDINGS = "findings"


class Kind(StrEnum):
    """What a figure is; the first three are types of Table Schema (Data Package 2.0)."""

    NUMBER = "number"
    WHOLE = "integer"
    WORDS = "string"
    ENDS = "two numbers, kept as <name>_low and <name>_high"
    PAIR = "two numbers in a list, the lower first"
    LIST = "a list"
    BY_TESTER = "lists of one value a tester"
    OBJECT = "an object"


class Scale(StrEnum):
    """The scale a figure is on."""

    PLAIN = ""
    LOG = "log scale"


class Form(Enum):
    """How pages write a figure; `results/pages/figures.py` holds the formats."""

    PERCENT = "a ratio as percent with one decimal"
    EXP = "a log ratio, as the ratio in percent with one decimal"
    SHARE = "a fraction as whole percent"
    SD = "a variance on the log scale, as the standard deviation in percent"
    DECIMAL = "a number with one decimal"
    WHOLE = "a whole number"
    P = "a p value"


@dataclass(frozen=True)
class Sentence:
    """What a pool's page says: plain words, and the statistic behind them.

    ``%(name)s`` in either stands for a figure as pages write it, a version's column before a
    member of its figures.
    """

    words: Promise
    statistic: Promise


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A figure of a pool.

    ``help`` explains it in the API, the open data and the administration, with ``unit`` and
    ``scale``, and ``method`` says in one sentence how it is computed; ``members`` explains lists of
    one value a tester. ``of`` is the member of the figures that a column repeats, or, with
    ``is_exponential``, whose exponential it holds. ``part`` names the part of a pool that may not
    be estimable (`results.statistics.pooling.Pooled`), and then lacks this figure. ``since`` is the
    first release of the formulae whose versions have it; ``always`` is false where only some do.
    ``stays`` says that it holds even where a pool's figures were taken down.

    Of pages, ``form`` is how they write it, ``label`` what they call it, and ``says`` what they say
    of it; ``anchor`` is where the about page explains it, by ``label`` and ``explained`` if that is
    given.
    """

    name: str
    kept: Kept
    help: str
    kind: Kind = Kind.NUMBER
    unit: str = ""
    scale: Scale = Scale.PLAIN
    since: int = 1
    of: str = ""
    is_exponential: bool = False
    part: str = ""
    always: bool = True
    stays: bool = False
    in_open_data: bool = False
    form: Form | None = None
    says: Sentence | None = None
    label: Promise | None = None
    anchor: str = ""
    explained: Promise | None = None
    members: Mapping[str, str] = field(default_factory=dict)
    method: Promise | str = ""

    @property
    def path(self) -> str:
        """What names it among all that a version says."""
        return self.name if self.kept is Kept.COLUMN else f"{self.kept}.{self.name}"

    @property
    def names(self) -> tuple[str, ...]:
        """The columns or members that hold it."""
        ends = (f"{self.name}_low", f"{self.name}_high")
        return ends if self.kind is Kind.ENDS else (self.name,)

    @property
    def column_type(self) -> str:
        """The type of each of its names in a table, as Table Schema calls it."""
        kind = Kind.NUMBER if self.kind is Kind.ENDS else self.kind
        return kind.value

    @property
    def sources(self) -> dict[str, str]:
        """By column, the member of the figures that it repeats."""
        if not self.of:
            return {}
        ends = (f"{self.of}_low", f"{self.of}_high")
        return dict(zip(self.names, ends if self.kind is Kind.ENDS else (self.of,), strict=True))

    @property
    def description(self) -> str:
        """The help with unit and scale, and since when, where that is not from the first."""
        described = ", ".join(filter(None, (self.help, self.unit, self.scale)))
        return described if self.since == 1 else f"{described}; since formulae {self.since}"

    @property
    def with_method(self) -> dict[str, str]:
        """The description of each of its names, and how it is computed."""
        return {name: f"{said}. {self.method}" for name, said in self.described.items()}

    @property
    def described(self) -> dict[str, str]:
        """The description of each of its names."""
        if self.kind is not Kind.ENDS:
            return {self.name: self.description}
        ends = zip(self.names, ("lower", "upper"), strict=True)
        return {name: f"{end} end of {self.description}" for name, end in ends}
