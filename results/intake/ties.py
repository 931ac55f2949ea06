"""How a set was tied: that its connection joins such ends, and its parameters by type and range."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from django.utils.translation import gettext

from results.intake import cells
from results.intake.cells import folded
from results.intake.document import PullSetDocument
from results.intake.findings import Findings, Missing, nearest, shown
from results.models import Connection, Proposal, TieParameter
from rigs.refusals import Finding

Kind = Connection.Kind
Type = TieParameter.Type


def ends_findings(connection: Connection, said: PullSetDocument, place: str) -> list[Finding]:
    """Whether the set names what its connection joins: a leader line, or a terminal."""
    joins = f"{connection.name} joins {connection.kind}"
    if said.leader is not None and said.terminal.strip():
        found = gettext("%(terminal)s beside a leader line") % {"terminal": shown(said.terminal)}
        return [Finding(place, "terminal", found, gettext("either a leader line or a terminal"))]
    if connection.kind == Kind.LINE_TO_LINE and said.leader is None:
        return [
            Finding(
                place,
                "leader",
                gettext("nothing"),
                gettext("the line joined to: %(joins)s") % {"joins": joins},
            )
        ]
    if connection.kind == Kind.LINE_TO_TERMINAL and said.leader is not None:
        return [
            Finding(
                place,
                "leader",
                shown(said.leader.line),
                gettext("a terminal: %(joins)s") % {"joins": joins},
            )
        ]
    if said.leader is None and not said.terminal.strip():
        expected = gettext("a leader line or a terminal, such as hook, ring or pin")
        return [Finding(place, "terminal", gettext("nothing"), expected)]
    return []


def parameters_of(
    connection: Connection,
    said: dict[str, bool | int | float | str],
    place: str,
    findings: Findings,
    proposed: Callable[[], Mapping[str, str]] = dict,
) -> dict[str, bool | int | float | str]:
    """Parameters under their names in the catalogue; findings for unknown ones and wrong values.

    ``proposed`` gives the names under which the sender proposed some that are there by others. It
    is asked only for a name that the catalogue lacks, since that costs a query.
    """
    if not said:
        return {}
    declared = list(connection.parameters.all())
    by_name = {spoken(parameter.name): parameter for parameter in declared}
    meant: dict[str, TieParameter | None] = {}
    if not {spoken(name) for name in said} <= by_name.keys():
        meant = {spoken(name): by_name.get(spoken(means)) for name, means in proposed().items()}
    kept: dict[str, bool | int | float | str] = {}
    for name, written in said.items():
        parameter = by_name.get(spoken(name)) or meant.get(spoken(name))
        value = _meant(parameter, written)
        if parameter is None:
            known = [each.name for each in declared]
            expected = (
                nearest(name, known) if known else gettext("none: the connection has no parameters")
            )
            missing = Missing(Proposal.Kind.PARAMETER, name, connection.pk)
            findings.lacks(missing, place, "parameters", expected)
        elif not _fits(parameter, value):
            found = f"{parameter.name} = {shown(value)}"
            findings.add(place, "parameters", found, _expected(parameter))
        elif parameter.type == Type.CHOICE:
            kept[parameter.name] = next(
                choice for choice in parameter.choices if folded(choice) == folded(str(value))
            )
        else:
            kept[parameter.name] = value
    return kept


def _meant(
    parameter: TieParameter | None, value: bool | int | float | str
) -> bool | int | float | str:
    """The value as a sheet would have it: a number or an answer that came as text."""
    if isinstance(value, str) and parameter is not None and parameter.type != Type.CHOICE:
        value = cells.parameter(cells.text(value))
    is_whole = parameter is not None and parameter.type == Type.INTEGER
    if is_whole and isinstance(value, float) and value.is_integer():
        return int(value)
    return value


def spoken(name: str) -> str:
    """The name of a parameter as it is compared: ``turns_main`` and 'Turns main' are one."""
    return folded(name.replace("_", " "))


def _fits(parameter: TieParameter, value: bool | int | float | str) -> bool:
    if parameter.type == Type.YES_NO:
        return isinstance(value, bool)
    if parameter.type == Type.CHOICE:
        return folded(str(value)) in {folded(choice) for choice in parameter.choices}
    if isinstance(value, bool | str) or not math.isfinite(value):
        return False
    if parameter.type == Type.INTEGER and value != int(value):
        return False
    above = parameter.lowest is None or value >= parameter.lowest
    below = parameter.highest is None or value <= parameter.highest
    return above and below


def _expected(parameter: TieParameter) -> str:
    if parameter.type == Type.YES_NO:
        return gettext("true or false")
    if parameter.type == Type.CHOICE:
        return gettext("one of %(choices)s") % {"choices": ", ".join(parameter.choices)}
    expected = gettext("a whole number") if parameter.type == Type.INTEGER else gettext("a number")
    if parameter.lowest is not None and parameter.highest is not None:
        expected = gettext("%(what)s from %(lowest)s to %(highest)s") % {
            "what": expected,
            "lowest": f"{parameter.lowest:g}",
            "highest": f"{parameter.highest:g}",
        }
    elif parameter.lowest is not None:
        expected = gettext("%(what)s of at least %(lowest)s") % {
            "what": expected,
            "lowest": f"{parameter.lowest:g}",
        }
    elif parameter.highest is not None:
        expected = gettext("%(what)s of at most %(highest)s") % {
            "what": expected,
            "highest": f"{parameter.highest:g}",
        }
    return f"{expected} {parameter.unit}".rstrip()
