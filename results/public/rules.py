"""The few rules that a field can be shown by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class Rule(Enum):
    """Who may read a field of a row that they may see at all."""

    PUBLIC = "anyone: numbers, days, words of a fixed list, sentences of the service, handles"
    NAME = "anyone once it is accepted; until then, and once the account is closed, a number"
    ACCEPTED = "anyone once the row is accepted; until then its proposer and moderators"
    QUANTITY = "anyone, where it reads as a number, a unit, or both"
    ROUNDED = "anyone to two figures, since the whole number gives away a private one"
    SERVICE = "anyone, where the service wrote it; else as private"
    PRIVATE = "the person it is of, and moderators"


PUBLIC, NAME, ACCEPTED = Rule.PUBLIC, Rule.NAME, Rule.ACCEPTED
QUANTITY, ROUNDED = Rule.QUANTITY, Rule.ROUNDED
SERVICE, PRIVATE = Rule.SERVICE, Rule.PRIVATE

SELF, PART = "self", "part"
"""Steps of the path to a row's contributor: the row is one, or its baseline or set leads on."""


@dataclass(frozen=True)
class Declared:
    """What is declared of one table: which rows are public, whose they are, and each field's rule.

    ``owner`` is the path to the contributor whose row it is, empty if it has no owner. Which rows
    ``rows`` means is written as conditions in `results.public.rows`.
    """

    rows: str
    owner: str
    fields: Mapping[str, Rule]
