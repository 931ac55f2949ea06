"""From the rows of a sheet, one pull a row, to a document of ``results.intake.document``.

The header names its columns in plain words. A blank session cell means 'as in the row above',
and a blank cell of a set 'as in the set's first row', so each is written once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext

from results.intake import cells
from results.intake.blind_codes import understood
from results.intake.columns import (
    KINDS,
    PULL_COLUMNS,
    SESSION_COLUMNS,
    SET_COLUMNS,
    TIE_COLUMNS,
    UNITS_OF,
    without_unit,
)
from results.intake.days import days_meant, is_serial
from results.intake.findings import Findings, shown, which_day
from results.intake.layout import Layout, laid_out
from results.intake.tables import Table
from results.public.csv_cells import as_written
from rigs.refusals import Finding, Invalid

JOINED_ONLY = ("connection", "leader line", "terminal", "parameters")

LEAST_OF_A_SET = 2
"""Pulls that make a group of rows a set that may have been meant as one of its own."""
_MEASURED = {"time to tie": "time_to_tie_s", "join diameter": "join_diameter_mm"}


@dataclass
class Sheet:
    """A document as yet unchecked, the rows its parts stood in, and what the rows got wrong.

    A member of the session stands in ``rows`` as '.rig'.

    ``remarks`` name what was left out or had to be guessed, ``asked`` what has to be looked at
    before it is stored, ``titles`` lines above the headings that are titles. ``broken`` are parts
    with a row whose pull could not be read, so that they may have more than they seem to;
    ``unread`` are columns of theirs that could not.
    """

    order_of_days: str = ""
    value: dict[str, Any] = field(default_factory=lambda: {"baselines": [], "pull_sets": []})
    findings: Findings = field(default_factory=Findings)
    remarks: list[Finding] = field(default_factory=list)
    rows: dict[str, str] = field(default_factory=dict)
    illegible: set[int] = field(default_factory=set)
    unread: dict[str, set[str]] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)
    said_once: set[tuple[str, ...]] = field(default_factory=set)
    """Ties without a label that a single row describes: rows below it may leave out what it says.
    """
    described: dict[str, str] = field(default_factory=dict)
    """The last row of `said_once`, as long as rows below it agree with it."""
    asked: list[Finding] = field(default_factory=list)
    titles: list[tuple[int, str]] = field(default_factory=list)
    first_said: dict[str, str] = field(default_factory=dict)
    differing: dict[tuple[str, str], list[int]] = field(default_factory=dict)
    """Rows of each value of a session column that is not the session's own."""
    by_tie: dict[str, list[int]] = field(default_factory=dict)
    """Rows of each set that has no label and goes by its tie."""
    unpulled: dict[tuple[str, ...], dict[str, str]] = field(default_factory=dict)
    parts: dict[tuple[str, ...], tuple[dict[str, Any], dict[str, str], str]] = field(
        default_factory=dict
    )

    def refuse(self, row: int, column: str, found: str, expected: str) -> None:
        self.findings.add(str(row), column, found, expected)


def document_of(table: Table) -> Sheet:
    """Gather the rows of one session. Raises Invalid where the headings can't be used."""
    layout = laid_out(table)
    if not layout.rows:
        raise Invalid(
            gettext("The sheet has a header and no pulls."),
            [
                Finding(
                    str(layout.number + 1),
                    "",
                    gettext("nothing"),
                    gettext("one row for each pull"),
                )
            ],
        )
    sheet = Sheet(layout.order_of_days, remarks=list(layout.remarks), titles=list(layout.titles))
    sheet.findings.extend(layout.wrong)
    sheet.rows[""] = str(layout.rows[0][0])
    above: dict[str, str] = {}
    for name, (number, said) in layout.said.items():
        above = _session(sheet, number, {name: said}, above)
    if layout.unit:
        above["unit"] = layout.unit
    rows = []
    for number, written in layout.rows:
        _refuse_unclear(sheet, table, layout, number)
        row = _row(sheet, layout, number, written, is_comma=table.separator == ",")
        rows.append((number, row))
    _take_comments(sheet, table, layout, dict(rows))
    sheet.said_once = _said_once(row for _, row in rows)
    for number, row in rows:
        above = _session(sheet, number, row, above)
        _pull(sheet, number, row, above.get("unit", ""))
    _refuse_other_sessions(sheet)
    _ask_about_gaps(sheet)
    return sheet


def _take_comments(
    sheet: Sheet, table: Table, layout: Layout, rows: Mapping[int, dict[str, str]]
) -> None:
    """Comments on the cells of a pull go into its note; others are named."""
    for (number, column), words in sorted(table.comments.items()):
        found = gettext("a comment: %(words)s") % {"words": shown(words)}
        name = layout.heading_of(column)
        if (row := rows.get(number)) is None:
            expected = gettext("words in a cell of a pull: this comment was not read")
            sheet.remarks.append(Finding(str(number), name, found, expected))
            continue
        row["note"] = "; ".join(filter(None, [row.get("note", ""), as_written(words)]))
        expected = gettext("nothing that changes the pull: it was kept as its note")
        sheet.asked.append(Finding(str(number), name, found, expected))


def _refuse_other_sessions(sheet: Sheet) -> None:
    """Each value of another session once, at the first of its rows."""
    for (name, written), rows in sheet.differing.items():
        found = shown(written)
        if len(rows) > 1:
            found = gettext("%(written)s in %(rows)s rows") % {"written": found, "rows": len(rows)}
        member = SESSION_COLUMNS[name]
        expected = gettext("%(above)s, as in row %(row)s: one file is one session, split it") % {
            "above": shown(sheet.first_said[name]), "row": sheet.rows[f".{member}"],
        }  # fmt: skip
        sheet.refuse(rows[0], name, found, expected)


def _ask_about_gaps(sheet: Sheet) -> None:
    """Pulls of one tie that stand apart were read as one set, and may be two."""
    for rows in sheet.by_tie.values():
        groups: list[list[int]] = []
        for number in rows:
            if not groups or number > groups[-1][-1] + 1:
                groups.append([])
            groups[-1].append(number)
        if len(groups) < 2 or min(map(len, groups)) < LEAST_OF_A_SET:
            continue
        found = gettext("pulls of one tie in rows %(rows)s") % {
            "rows": gettext(" and ").join(f"{each[0]}-{each[-1]}" for each in groups)
        }
        expected = gettext(
            "one set of %(pulls)s, as it was read; of several, each with its own label in a column "
            "'label'"
        ) % {"pulls": len(rows)}
        sheet.asked.append(Finding(str(groups[1][0]), "label", found, expected))


def _refuse_unclear(sheet: Sheet, table: Table, layout: Layout, number: int) -> None:
    """A row that is hidden, or whose reading is struck through, may be a pull or not."""
    if number in table.hidden:
        expected = gettext("rows that are shown: show it if it is a pull, else delete it")
        sheet.refuse(number, "", gettext("a hidden row"), expected)
    for column, name in enumerate(layout.names, start=1):
        if name == "reading" and (number, column) in table.struck:
            expected = gettext("a reading that counts, or failure mode 'void' and none")
            sheet.refuse(number, name, gettext("a reading struck through"), expected)


def _row(
    sheet: Sheet, layout: Layout, number: int, written: list[object], *, is_comma: bool
) -> dict[str, str]:
    """The cells of a row under known columns, as text; blank ones are left out."""
    names = layout.names
    if len(written) > len(names) and is_comma:
        sheet.refuse(
            number,
            "",
            gettext("%(written)s cells") % {"written": len(written)},
            gettext(
                "at most %(columns)s, as the header; a decimal comma needs quotes, or "
                "semicolons between the cells"
            )
            % {"columns": len(names)},
        )
    row = {}
    for name, cell in zip(names, written, strict=False):
        text = cells.text(cell) if name else ""
        if name and (isinstance(cell, cells.Formula) or cells.is_formula(text)):
            found = shown(text) if text else gettext("a formula")
            sheet.refuse(number, name, found, gettext("a value, not a formula"))
            if not isinstance(cell, cells.Formula) or not text:
                sheet.illegible.add(number)
                continue
        elif cells.is_error(text):
            expected = gettext("a value: the spreadsheet could not compute this one")
            sheet.refuse(number, name, shown(text), expected)
            sheet.illegible.add(number)
            continue
        if name in UNITS_OF:
            text = without_unit(name, text)
        if isinstance(cell, cells.Measure):
            text = _measure(sheet, number, name, text, cell.shows)
        if text:
            row[name] = as_written(text)
    return row


def _measure(sheet: Sheet, number: int, name: str, text: str, shows: str) -> str:
    """A number with what its format shows beside it, which is all that its reader can see."""
    if name == "reading":
        return f"{text} {shows}"
    if name in UNITS_OF and shows.casefold() not in UNITS_OF[name]:
        sheet.refuse(number, name, shown(f"{text} {shows}"), gettext(" or ").join(UNITS_OF[name]))
    return text


def _session(
    sheet: Sheet, number: int, row: dict[str, str], above: dict[str, str]
) -> dict[str, str]:
    """What the session columns say at this row; one sheet is one session."""
    now = {**above, **{name: row[name] for name in SESSION_COLUMNS if name in row}}
    for name, member in SESSION_COLUMNS.items():
        if name not in now:
            continue
        value = cells.member(member, now[name], sheet.order_of_days)
        if member not in sheet.value:
            sheet.value[member] = value
            sheet.rows[f".{member}"] = str(number)
            sheet.first_said[name] = now[name]
            if name == "date":
                _remark_on_day(sheet, number, now[name], value)
        elif name in row and name != "unit" and _differs(value, sheet.value[member]):
            sheet.differing.setdefault((name, row[name]), []).append(number)
            now[name] = above[name]
    return now


def _differs(value: object, above: object) -> bool:
    return cells.folded(str(value)) != cells.folded(str(above))


def _remark_on_day(sheet: Sheet, number: int, written: str, value: object) -> None:
    """Ask which day was meant, or say how the number of a day was read."""
    days = days_meant(written, sheet.order_of_days)
    if len(days) > 1:
        sheet.refuse(number, "date", shown(written), which_day(days))
        sheet.value["pulled_on"] = days[0].isoformat()
    elif is_serial(written):
        found = gettext("%(written)s, read as %(day)s") % {"written": written, "day": value}
        sheet.remarks.append(
            Finding(str(number), "date", found, gettext("a date; is this the right one?"))
        )


def _pull(sheet: Sheet, number: int, row: dict[str, str], unit: str) -> None:
    kind = KINDS.get(cells.folded(row.get("kind", "")), "")
    if kind and not any(name in row for name in PULL_COLUMNS):
        _leave_out(sheet, number, row, kind)
        return
    if kind == "straight":
        part, place = _baseline(sheet, number, row)
    elif kind == "joined":
        part, place = _pull_set(sheet, number, row)
    else:
        sheet.refuse(number, "kind", shown(row.get("kind")), gettext("straight or joined"))
        sheet.broken.add("")
        return
    pull = {
        name.replace(" ", "_"): cells.member(name.replace(" ", "_"), row[name])
        for name in PULL_COLUMNS
        if name in row
    }
    if "time_to_break" in pull:
        pull["time_to_break_s"] = pull.pop("time_to_break")
    if number in sheet.illegible and "reading" not in pull:
        pull["failure_mode"] = "void"  # is asked nothing more of
        sheet.broken.add(place)
    if unit and unit != sheet.value["unit"]:
        pull["unit"] = unit
    sheet.rows[f"{place}.pulls[{len(part['pulls'])}]"] = str(number)
    part["pulls"].append(pull)


def _leave_out(sheet: Sheet, number: int, row: dict[str, str], kind: str) -> None:
    """A row that was made ready and not pulled; what it says of its tie holds for its set."""
    found = gettext("a row with neither reading nor failure mode")
    expected = gettext("a pull, or 'void' where its reading was lost: not read")
    sheet.remarks.append(Finding(str(number), "reading", found, expected))
    key = ("label", cells.folded(row.get("label", "")))
    if kind == "joined" and "label" in row and key not in sheet.parts:
        said = {name: row[name] for name in SET_COLUMNS if name in row}
        sheet.unpulled[key] = {**sheet.unpulled.get(key, {}), **said}


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
    """The set of this row: by its label, or where there is none by all that is said of the tie.

    What a tie says in one row alone holds for the rows below that say nothing else.
    """
    said = {name: row[name] for name in SET_COLUMNS if name in row}
    label = row.get("label", "")
    key = _key(row)
    if key in sheet.said_once and not _agrees(row, sheet.described):
        sheet.described = row
    elif sheet.described and _agrees(row, sheet.described):
        key = _key(sheet.described)
    else:
        sheet.described = {}
    if key not in sheet.parts:
        said = {**sheet.unpulled.get(key, {}), **said}
        joined = _described(sheet, number, said)
        if label or "sample" not in joined:
            joined["label"] = label or f"set {len(sheet.value['pull_sets']) + 1}"
        _add(sheet, number, key, "pull_sets", joined, said)
        sheet.unread[sheet.parts[key][2]] = _unread(said)
    part, first, place = sheet.parts[key]
    if key[0] == "tie":
        sheet.by_tie.setdefault(place, []).append(number)
    for name, text in said.items():
        above = first.get(name, "")
        if (
            name not in sheet.unread.get(place, ())
            and text != above
            and cells.folded(text) != cells.folded(above)
        ):
            expected = gettext("%(above)s, as in the first row of %(part)s; which is right?") % {
                "above": shown(above or None),
                "part": shown(part.get("label", part.get("sample"))),
            }
            sheet.refuse(number, name, shown(text), expected)
    return part, place


def _key(row: dict[str, str]) -> tuple[str, ...]:
    """What a row of joined line goes by: its label, its code, or all that is said of the tie."""
    if label := row.get("label", ""):
        return ("label", cells.folded(label))
    if "sample" in row:
        return ("sample", understood(row["sample"]))
    return ("tie", *(cells.folded(row.get(name, "")) for name in TIE_COLUMNS))


def _said_once(rows: Iterable[dict[str, str]]) -> set[tuple[str, ...]]:
    """Ties of which a single row says how: alone they would be a set of one pull."""
    joined = (row for row in rows if KINDS.get(cells.folded(row.get("kind", ""))) == "joined")
    counted = Counter(map(_key, joined))
    return {key for key, rows_of in counted.items() if rows_of == 1 and key[0] == "tie"}


def _agrees(row: dict[str, str], described: dict[str, str]) -> bool:
    """Whether all that a row says of the tie is as ``described``."""
    return (
        bool(described)
        and _key(row)[0] == "tie"
        and all(
            cells.folded(row[name]) == cells.folded(described.get(name, ""))
            for name in TIE_COLUMNS
            if name in row
        )
    )


def _unread(said: dict[str, str]) -> set[str]:
    """Columns of a set's first row that can't be read, so that the other rows may differ."""
    members = {"doubled": "doubled", "discarded ties": "discarded_ties", **_MEASURED}
    given = {name: cells.member(members[name], said[name]) for name in members.keys() & said.keys()}
    wrong = {name for name, value in given.items() if isinstance(value, str)}
    return wrong | ({"parameters"} if cells.parameters(said.get("parameters", ""))[1] else set())


def _described(sheet: Sheet, number: int, said: dict[str, str]) -> dict[str, Any]:
    joined: dict[str, Any] = {"pulls": []}
    for name in ("sample", "connection", "terminal", "tyer", "doubled", "discarded ties"):
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
    said_of_tie, wrong = cells.parameters(said.get("parameters", ""))
    if said_of_tie or "sample" not in said:
        joined["parameters"] = said_of_tie
    for piece in wrong:
        sheet.refuse(number, "parameters", shown(piece), cells.as_parameters_are_written())
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
