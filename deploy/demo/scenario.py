"""The invented scenario: lines, joins and what they are tied in. `scenario.json` holds it all."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Document = dict[str, Any]

SCENARIO: Document = json.loads(Path(__file__).with_name("scenario.json").read_text())
MODEL: Document = SCENARIO["model"]
LINES: dict[str, Document] = {line["id"]: line for line in SCENARIO["lines"]}

SECONDS_TO_TIE = {
    "FG": 120, "Double uni": 60, "Alberto": 45, "Surgeon's": 20, "Blood": 55, "Palomar": 25,
    "Leader hitch over needle": 50, "Albright": 50, "Improved clinch": 30, "Uni": 30,
}  # fmt: skip
BULK = {
    "FG": 1.3, "Double uni": 2.6, "Alberto": 2.2, "Surgeon's": 2.8, "Blood": 2.4,
    "Leader hitch over needle": 1.8,
}  # fmt: skip
"""Diameter of the join over the thicker line's; both tables common practice, no source."""
PACE = {"oxbow": 1.1, "marram": 0.9, "quernstone": 1.3, "sandgrain": 1.0}
"""Testers who use a watch and a caliper, and how long they take beside the table."""

WET_NYLON, WET_NYLON_JOIN = 0.90, 0.98
"""Nylon soaked through: share of its dry strength, and of its joins' dry efficiency."""


@dataclass(frozen=True)
class Target:
    """What a join is tied in: a line pair, or one line and a hook."""

    id: str
    main: str
    leader: str | None
    reference: str

    @property
    def lines(self) -> list[str]:
        return [self.main] if self.leader is None else [self.main, self.leader]

    @property
    def joins(self) -> list[Document]:
        kind = "line to terminal" if self.leader is None else "line to line"
        joins: list[Document] = SCENARIO["joins"]
        return [j for j in joins if j["kind"] == kind and self.id in j["efficiency"]]

    @property
    def straight_lines(self) -> list[str]:
        """The reference line, and the other where labels leave open which is weaker."""

        def label(line: str) -> float:
            return float(LINES[line]["label"].split()[0])

        return [line for line in self.lines if label(line) <= 1.5 * label(self.reference)]

    def efficiency(self, join: Document, wet: bool) -> float:
        """True efficiency of a join's own strength here."""
        dry: float = join["efficiency"][self.id]
        return dry * (WET_NYLON_JOIN if wet and is_nylon(self.reference) else 1.0)


TARGETS: dict[str, Target] = {
    pair["id"]: Target(pair["id"], pair["main"], pair["leader"], pair["reference"])
    for pair in SCENARIO["line_pairs"]
} | {line: Target(line, line, None, line) for line in LINES}


def is_nylon(line: str) -> bool:
    return bool(LINES[line]["material"] == "nylon monofilament")


def line_strength(line: str, wet: bool) -> float:
    """Mean straight strength in newtons."""
    strength: float = LINES[line]["true_strength_N"]
    return strength * (WET_NYLON if wet and is_nylon(line) else 1.0)
