"""What goes into each column of a sheet, with an example of straight and of joined line."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Explanation:
    """A column in words, and an example of it in a pull of straight and of joined line."""

    words: str | Promise
    straight: str
    joined: str


EXPLAINED = {
    "rig": Explanation(_("the name of a rig of yours"), "garage winch", "garage winch"),
    "revision": Explanation(_("the number of its revision"), "1", "1"),
    "date": Explanation(_("the day of the pulls"), "2026-01-10", "2026-01-10"),
    "state": Explanation(_("dry, wetted or soaked"), "dry", "dry"),
    "loading": Explanation(_("static or shock; static if blank"), "static", "static"),
    "unit": Explanation(_("what the scale shows: lbf, kgf, N, gf, ozf or kN"), "lbf", "lbf"),
    "temperature": Explanation(_("degrees Celsius; may be left out"), "8", "8"),
    "soak": Explanation(_("hours in water; may be left out"), "", ""),
    "kind": Explanation(_("straight line, or joined"), "straight", "joined"),
    "label": Explanation(_("your name for a set of pulls of the same tie"), "", "set 1"),
    "sample": Explanation(
        _("in a club's round, the code on the label: it stands for the join and its lines"), "", ""
    ),
    "connection": Explanation(_("the join, by its name"), "", "Double uni"),
    "doubled": Explanation(_("yes if the main line was doubled before it was tied"), "", "no"),
    "main line": Explanation(_("the line, by its name in the catalogue"), "thin", "thin"),
    "main spool": Explanation(_("which spool it came off; may be left out"), "A", "A"),
    "leader line": Explanation(_("the other line, or else a terminal"), "", "thick"),
    "leader spool": Explanation(_("which spool it came off; may be left out"), "", "B"),
    "terminal": Explanation(_("hook, ring, swivel or pin, where there is no leader"), "", ""),
    "parameters": Explanation(_("how it was tied, as name=value"), "", "turns main=6"),
    "tyer": Explanation(_("who tied, if not you"), "", ""),
    "discarded ties": Explanation(_("ties thrown away before pulling"), "", "1"),
    "time to tie": Explanation(_("seconds to tie one, on average"), "", "90"),
    "join diameter": Explanation(_("millimetres at the thickest"), "", "1.4"),
    "position": Explanation(_("straight line before, between or after the joins"), "before", ""),
    "reading": Explanation(_("what the scale showed; blank if it was lost"), "20.5", "15.2"),
    "failure mode": Explanation(
        _("where it ended: join, slip, line, grip, terminal, none or void"), "line", "join"
    ),
    "place": Explanation(_("main, leader, or in your own words; may be left out"), "", "main"),
    "slipped first": Explanation(_("yes if it slipped, held and then broke"), "", "no"),
    "time to break": Explanation(_("seconds; may be left out"), "18", "18"),
    "note": Explanation(_("anything; only you and moderators read it"), "", ""),
}
