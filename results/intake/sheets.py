"""From the rows of a sheet, one pull a row, to a document of ``results.intake.document``.

The header names its columns in plain words. A blank session cell means 'as in the row above',
and a blank cell of a set 'as in the set's first row', so each is written once.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext

from results.intake import cells
from results.intake.findings import Findings, nearest, shown
from results.intake.headings import heading
from results.intake.tables import Rows
from results.public.csv_cells import as_written
from rigs.refusals import Finding, Invalid

SESSION_COLUMNS = {
    "rig": "rig", "revision": "revision", "date": "pulled_on", "state": "state",
    "loading": "loading", "unit": "unit", "temperature": "temperature_C", "soak": "soak_hours",
}  # fmt: skip
TIE_COLUMNS = (
    "connection", "doubled", "main line", "main spool", "leader line", "leader spool", "terminal",
    "parameters", "tyer",
)  # fmt: skip
SET_COLUMNS = (*TIE_COLUMNS, "discarded ties", "time to tie", "join diameter")
PULL_COLUMNS = ("reading", "failure mode", "place", "slipped first", "time to break", "note")
COLUMNS = (*SESSION_COLUMNS, "kind", "label", *SET_COLUMNS, "position", *PULL_COLUMNS)
REQUIRED = ("rig", "revision", "date", "state", "kind", "main line", "reading", "failure mode")
JOINED_ONLY = ("connection", "leader line", "terminal", "parameters")

_UNITS_OF = {
    "temperature": ("c", "°c"), "soak": ("h", "hours"), "time to break": ("s", "seconds"),
    "time to tie": ("s", "seconds"), "join diameter": ("mm",),
}  # fmt: skip
_MEASURED = {"time to tie": "time_to_tie_s", "join diameter": "join_diameter_mm"}


@dataclass
class Sheet:
    """A document as yet unchecked, the rows its parts stood in, and what the rows got wrong."""

    value: dict[str, Any] = field(default_factory=lambda: {"baselines": [], "pull_sets": []})
    findings: Findings = field(default_factory=Findings)
    rows: dict[str, str] = field(default_factory=dict)
    parts: dict[tuple[str, ...], tuple[dict[str, Any], dict[str, str], str]] = field(
        default_factory=dict
    )

    def refuse(self, row: int, column: str, found: str, expected: str) -> None:
        self.findings.add(str(row), column, found, expected)


def document_of(rows: Rows) -> Sheet:
    """Gather the rows of one session. Raises Invalid where the header can't be used."""
    (header_row, header), *body = rows
    columns, unit = _columns(header_row, [cells.text(cell) for cell in header])
    if not body:
        raise Invalid(
            gettext("The sheet has a header and no pulls."),
            [
                Finding(
                    str(header_row + 1), "", gettext("nothing"), gettext("one row for each pull")
                )
            ],
        )
    sheet = Sheet()
    sheet.rows[""] = str(body[0][0])
    above: dict[str, str] = {"unit": unit} if unit else {}
    for number, written in body:
        row = _row(sheet, number, columns, [cells.text(cell) for cell in written])
        above = _session(sheet, number, row, above)
        _pull(sheet, number, row, above.get("unit", ""))
    return sheet


def _columns(number: int, header: list[str]) -> tuple[list[str], str]:
    """Column names in order, and the unit that the heading of the readings gives."""
    findings, names, unit = [], [], ""
    for written in header:
        name, said = heading(written)
        if name not in COLUMNS:
            expected = (
                nearest(name, list(COLUMNS)) if name else gettext("a heading above every cell")
            )
            said = shown(name, quoted=False)
            findings.append(Finding(str(number), said, gettext("an unknown column"), expected))
        elif name in names:
            findings.append(
                Finding(str(number), name, gettext("the column twice"), gettext("each column once"))
            )
        elif name == "reading":
            unit = said
        elif said and said.lower() not in _UNITS_OF.get(name, ()):
            expected = " or ".join(_UNITS_OF.get(name, ["no unit"]))
            findings.append(Finding(str(number), name, shown(said), expected))
        names.append(name)
    missing = [name for name in REQUIRED if name not in names]
    if unit and "unit" in names:
        found = gettext("'reading (%(unit)s)' and a column") % {"unit": shown(unit, quoted=False)}
        findings.append(Finding(str(number), "unit", found, gettext("one of the two")))
    elif not unit and "unit" not in names:
        missing.append("unit")
    findings += [
        Finding(str(number), name, gettext("no such column"), gettext("this column"))
        for name in missing
    ]
    if findings:
        raise Invalid(gettext("The header row does not name the columns of a session."), findings)
    return names, unit


def _row(sheet: Sheet, number: int, columns: list[str], written: list[str]) -> dict[str, str]:
    if len(written) > len(columns):
        sheet.refuse(
            number,
            "",
            gettext("%(written)s cells") % {"written": len(written)},
            gettext(
                "at most %(columns)s, as the header; a decimal comma needs quotes, or "
                "semicolons between the cells"
            )
            % {"columns": len(columns)},
        )
    row = {name: text for name, text in zip(columns, written, strict=False) if text}
    for name, text in row.items():
        if cells.is_formula(text):
            sheet.refuse(number, name, shown(text), gettext("a value, not a formula"))
    return {name: as_written(text) for name, text in row.items()}


def _session(
    sheet: Sheet, number: int, row: dict[str, str], above: dict[str, str]
) -> dict[str, str]:
    """What the session columns say at this row; one sheet is one session."""
    now = {**above, **{name: row[name] for name in SESSION_COLUMNS if name in row}}
    for name, member in SESSION_COLUMNS.items():
        if name not in now:
            continue
        if member not in sheet.value:
            sheet.value[member] = cells.member(member, now[name])
        elif (
            name in row and name != "unit" and cells.folded(now[name]) != cells.folded(above[name])
        ):
            sheet.refuse(
                number,
                name,
                shown(row[name]),
                gettext("%(above)s, as above: one file is one session")
                % {"above": shown(above[name])},
            )
            now[name] = above[name]
    return now


def _pull(sheet: Sheet, number: int, row: dict[str, str], unit: str) -> None:
    kind = cells.folded(row.get("kind", ""))
    if kind == "straight":
        part, place = _baseline(sheet, number, row)
    elif kind == "joined":
        part, place = _pull_set(sheet, number, row)
    else:
        sheet.refuse(number, "kind", shown(row.get("kind")), gettext("straight or joined"))
        return
    pull = {
        name.replace(" ", "_"): cells.member(name.replace(" ", "_"), row[name])
        for name in PULL_COLUMNS
        if name in row
    }
    if "time_to_break" in pull:
        pull["time_to_break_s"] = pull.pop("time_to_break")
    if unit and unit != sheet.value["unit"]:
        pull["unit"] = unit
    sheet.rows[f"{place}.pulls[{len(part['pulls'])}]"] = str(number)
    part["pulls"].append(pull)


def _baseline(sheet: Sheet, number: int, row: dict[str, str]) -> tuple[dict[str, Any], str]:
    for name in JOINED_ONLY:
        if name in row:
            sheet.refuse(
                number, name, shown(row[name]), gettext("a blank cell: this row is straight line")
            )
    straight = {
        "line": row.get("main line", ""),
        "spool": row.get("main spool", ""),
        "position": cells.member("position", row.get("position", "before")),
    }
    key = ("straight", *(cells.folded(value) for value in map(str, straight.values())))
    if key not in sheet.parts:
        if not straight["line"]:
            del straight["line"]
        _add(sheet, number, key, "baselines", {**straight, "pulls": []}, row)
    part, _, place = sheet.parts[key]
    return part, place


def _pull_set(sheet: Sheet, number: int, row: dict[str, str]) -> tuple[dict[str, Any], str]:
    """The set of this row: by its label, or where there is none by all that is said of the tie."""
    said = {name: row[name] for name in SET_COLUMNS if name in row}
    label = row.get("label", "")
    if label:
        key: tuple[str, ...] = ("label", cells.folded(label))
    else:
        key = ("tie", *(cells.folded(row.get(name, "")) for name in TIE_COLUMNS))
    if key not in sheet.parts:
        joined = _described(sheet, number, said)
        joined["label"] = label or f"set {len(sheet.value['pull_sets']) + 1}"
        _add(sheet, number, key, "pull_sets", joined, said)
    part, first, place = sheet.parts[key]
    for name, text in said.items():
        above = first.get(name, "")
        if text != above and cells.folded(text) != cells.folded(above):
            expected = gettext("%(above)s, as in the first row of %(part)s") % {
                "above": shown(above or None),
                "part": shown(part["label"]),
            }
            sheet.refuse(number, name, shown(text), expected)
    return part, place


def _described(sheet: Sheet, number: int, said: dict[str, str]) -> dict[str, Any]:
    joined: dict[str, Any] = {"pulls": []}
    for name in ("connection", "terminal", "tyer", "doubled", "discarded ties"):
        if name in said:
            joined[name.replace(" ", "_")] = cells.member(name.replace(" ", "_"), said[name])
    for name, member in _MEASURED.items():
        if name in said:
            joined[member] = cells.member(member, said[name])
    for end in ("main", "leader"):
        if f"{end} line" in said:
            joined[end] = {"line": said[f"{end} line"], "spool": said.get(f"{end} spool", "")}
        elif f"{end} spool" in said:
            sheet.refuse(
                number,
                f"{end} line",
                gettext("nothing"),
                gettext("the line of spool %(end)s") % {"end": end},
            )
    joined["parameters"], wrong = cells.parameters(said.get("parameters", ""))
    for piece in wrong:
        sheet.refuse(number, "parameters", shown(piece), gettext("name=value, as 'turns main=6'"))
    return joined


def _add(
    sheet: Sheet,
    number: int,
    key: tuple[str, ...],
    member: str,
    part: dict[str, Any],
    first: dict[str, str],
) -> None:
    place = f"{member}[{len(sheet.value[member])}]"
    sheet.value[member].append(part)
    sheet.parts[key] = part, first, place
    sheet.rows[place] = str(number)
