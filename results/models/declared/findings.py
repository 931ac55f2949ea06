"""Members of a version's ``findings``: what a pool says beside its figures."""

from __future__ import annotations

from typing import Any

from results.models.declared.figure import Figure, Kept, Kind


def _finding(name: str, said: str, kind: Kind = Kind.OBJECT, **more: Any) -> Figure:
    """A member of a version's findings."""
    return Figure(name=name, kept=Kept.FINDINGS, help=said, kind=kind, **more)


FINDINGS = (
    _finding(
        "endings",
        "how the pulls ended, how often something else gave way before the join, ties discarded",
    ),
    _finding("told", "sets behind the medians of time_to_tie_s and bulk"),
    _finding(
        "pulls",
        "single pulls by class of their share of straight line and how they ended",
        Kind.LIST,
    ),
    _finding("straight", "the same of the straight line behind them", Kind.LIST),
    _finding(
        "one_stage",
        "efficiencies by one model on all pulls, where those that parted elsewhere first say only "
        "'at least': of line and join together, and of the join itself, or a lower bound of it "
        "where it parted in too few pulls for an estimate; null where nothing is pooled",
        anchor="itself",
        since=2,
    ),
    _finding(
        "own_strengths",
        "what the join itself holds in each set of which pulls parted elsewhere first: lists of "
        "the sets, of how many pulls parted at the join, of the efficiency and of its 95 percent "
        "interval; null where nothing is pooled or the pool does not tell how much the join "
        "scatters",
        anchor="itself",
        since=2,
    ),
    _finding(
        "line_products",
        "the line products pulled, by number of their lines (leader_line null at a terminal), most "
        "testers first and ten at most; number of all; for_others is true where what products "
        "differ by is in the interval, so that the figure is for others of the kind as well, and "
        "false where it is for these alone",
        anchor="products",
        since=2,
    ),
    _finding(
        "club_rounds",
        "the clubs' rounds that sets are from, whose participants pull from the same spools, most "
        "testers first and ten at most; number of all, and their sets; for_others is true where "
        "what rounds differ by is in the interval, so that the figure is for spools of other "
        "rounds as well",
        anchor="rounds",
        since=2,
    ),
    _finding(
        "groups_left_out",
        "the pool without the sets of each group of several testers who share a line product, "
        "club's round, club, club's day, spool or rig's name, those that move it most first, ten "
        "at most: what they share, the testers, their sets, the efficiency without them and its "
        "relative change",
        Kind.LIST,
        anchor="groups",
        since=2,
    ),
    _finding(
        "median_of_testers",
        "the median of the testers' own means, with a 95 percent interval that rests on no "
        "distribution (no ends below six testers); null where nothing is pooled",
        anchor="robust",
        since=2,
    ),
    _finding(
        "heavy_tails",
        "the efficiency with its 95 percent interval if testers' effects have heavy tails, as a "
        "check of the normal ones; whether it differs by more than half of the narrower interval, "
        "and the testers who stand apart; null where nothing is pooled",
        anchor="robust",
        since=2,
    ),
    _finding(
        "trend",
        "relative change of the efficiency in a year with its 95 percent interval (CR2); null "
        "where the days or sets are too few",
        anchor="trend",
        since=2,
    ),
    _finding("worst", "the lowest single pull and out of how many; null below ten pulls"),
    _finding(
        "moderators",
        "meta-regression on what ties differ in, and what was left out and why",
        anchor="moderators",
    ),
)
