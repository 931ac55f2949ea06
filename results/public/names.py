"""Names in public: accepted ones as they are, and a number in place of every other."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils.crypto import salted_hmac

from results.models import (
    AcceptedName,
    Baseline,
    Connection,
    DirectComparison,
    Pool,
    PullSet,
    Round,
    RoundLot,
)
from rigs.models import Contributor, Line, Rig

Kind = AcceptedName.Kind
SPOOLS = 10_000
TERMINALS = frozenset(
    {"crimp", "eye", "hook", "jig", "lure", "pin", "ring", "snap", "split ring", "swivel"}
)
"""What a line is tied to, in trade terms, which no moderator has to accept; common practice,
no source."""

KINDS: dict[tuple[str, str], str] = {
    ("rigs.Rig", "name"): Kind.RIG,
    ("results.Baseline", "spool"): Kind.SPOOL,
    ("results.PullSet", "main_spool"): Kind.SPOOL,
    ("results.PullSet", "leader_spool"): Kind.SPOOL,
    ("results.PullSet", "label"): Kind.LABEL,
    ("results.PullSet", "terminal"): Kind.TERMINAL,
    ("results.Pool", "terminal"): Kind.TERMINAL,
    ("results.DirectComparison", "terminal"): Kind.TERMINAL,
    ("results.Round", "title"): Kind.ROUND,
    ("results.RoundLot", "spool"): Kind.SPOOL,
}
"""Names that are accepted by their text. Joins and lines are accepted as rows of the catalogue."""


def accepted_texts() -> set[tuple[str, str]]:
    """Kind and text of every accepted name; one query."""
    of_the_trade = {(str(Kind.TERMINAL), text) for text in TERMINALS}
    return of_the_trade.union(AcceptedName.objects.values_list("kind", "text"))


def designation(row: Any, field: str) -> str:
    """The placeholder for a name that no moderator has accepted; queries only for its owner,
    and for the club of a round."""
    return _DESIGNATIONS[row._meta.label, field](row, getattr(row, field))


def spool_designation(contributor_id: int, text: str) -> str:
    """The same number for the same spool of one tester; it can't be traced back to the text."""
    digest = salted_hmac("samespool.spool", f"{contributor_id}:{text}").digest()
    return f"spool {int.from_bytes(digest[:8], 'big') % SPOOLS}"


def signer_of(row: Any) -> Contributor | None:
    """The contributor who wrote a name, whose account may have been closed since."""
    if isinstance(row, Rig):
        return row.owner
    if isinstance(row, Baseline | PullSet):
        return row.session.contributor
    if isinstance(row, Round):
        return row.organiser
    if isinstance(row, RoundLot):
        return row.round.organiser
    if isinstance(row, Line | Connection | Pool | DirectComparison):
        return None
    raise TypeError(f"{row._meta.label} has no name of its own")


def _spool(row: Any, text: str) -> str:
    return spool_designation(row.session.contributor_id, text)


_Designate = Callable[[Any, str], str]
_DESIGNATIONS: dict[tuple[str, str], _Designate] = {
    ("rigs.Rig", "name"): lambda rig, _: f"rig {rig.pk}",
    ("rigs.Line", "name"): lambda line, _: f"line {line.pk}",
    ("results.Connection", "name"): lambda connection, _: f"join {connection.pk}",
    ("results.PullSet", "label"): lambda pull_set, _: f"set {pull_set.pk}",
    ("results.Baseline", "spool"): _spool,
    ("results.PullSet", "main_spool"): _spool,
    ("results.PullSet", "leader_spool"): _spool,
    ("results.Round", "title"): lambda of, _: f"round {of.pk} of {of.club.name}",
    ("results.RoundLot", "spool"): lambda lot, _: f"lot {lot.number}",
    ("results.PullSet", "terminal"): lambda _row, _text: "a terminal",
    ("results.Pool", "terminal"): lambda _row, _text: "a terminal",
    ("results.DirectComparison", "terminal"): lambda _row, _text: "a terminal",
}
