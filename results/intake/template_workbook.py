"""The sheet to fill in as a workbook: drop-downs of one's own rigs, lines and joins, and words."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import openpyxl
from django.db.models import Q
from django.utils.translation import gettext
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from results.intake.catalogue import usable_by
from results.intake.explained import EXPLAINED
from results.intake.template import session_of, template_columns, template_rows
from results.models import Connection, Pull, Session
from results.public.csv_cells import safe
from results.public.names import TERMINALS
from rigs.metrology.units import FORCE_UNITS
from rigs.models import Contributor, Line, Rig, RigRevision

ROWS = 400
"""Rows that have the drop-downs."""
MOST_CHOICES = 400
WIDE, NARROW = 24, 12


def template_workbook(contributor: Contributor | None) -> bytes:
    """An XLSX workbook: the pulls first, then what each column means, then the lists of choices.

    The rows are those of the CSV template. Raises nothing; reads only.
    """
    rows = template_rows(contributor)
    return workbook_of(contributor, template_columns(), session_of(contributor), rows)


def workbook_of(
    contributor: Contributor | None,
    columns: Sequence[str],
    session: Mapping[str, str],
    rows: Iterable[Mapping[str, str]],
) -> bytes:
    """The same of other columns and rows, of which the first says ``session`` besides."""
    book = openpyxl.Workbook()
    pulls: Any = book.active
    pulls.title = gettext("Pulls")
    _fill(pulls, columns, session, rows)
    _explain(book.create_sheet(gettext("Explanations")), columns)
    lists = book.create_sheet(gettext("Lists"))
    offered = [(name, of) for name, of in _choices(contributor).items() if name in columns]
    for place, (column, choices) in enumerate(offered, start=1):
        _offer(pulls, columns.index(column) + 1, lists, place, column, choices)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _fill(
    sheet: Worksheet,
    columns: Sequence[str],
    session: Mapping[str, str],
    rows: Iterable[Mapping[str, str]],
) -> None:
    _write(sheet, 1, columns, bold=True)
    for number, row in enumerate(rows, start=2):
        said = {**session, **row}
        _write(sheet, number, [said.get(name, "") for name in columns])
        session = {}
    for place, name in enumerate(columns, start=1):
        letter = get_column_letter(place)
        sheet.column_dimensions[letter].width = WIDE if "line" in name else NARROW
    date = columns.index("date") + 1
    for number in range(2, ROWS + 2):
        sheet.cell(number, date).number_format = "yyyy-mm-dd"
    sheet.freeze_panes = "A2"


def _explain(sheet: Worksheet, columns: Sequence[str]) -> None:
    """A column a row, so that no row of it looks like the headings of a session."""
    sheet.column_dimensions["A"].width = NARROW + 4
    sheet.column_dimensions["B"].width = 3 * WIDE
    _write(
        sheet,
        1,
        [gettext("column"), gettext("what goes in it"), gettext("for example: a straight pull"),
         gettext("for example: a joined pull")],
        bold=True,
    )  # fmt: skip
    for number, name in enumerate(columns, start=2):
        each = EXPLAINED[name]
        _write(sheet, number, [name, str(each.words), each.straight, each.joined])
        sheet.cell(number, 2).alignment = Alignment(wrap_text=True)
    words = [
        gettext("One row is one pull. The rig, the day and the like are written once, in the first "
                "row; how a join was tied once, in the first row of its set."),
        gettext("Rows with neither reading nor failure mode are not read. A pull whose reading was "
                "lost is void: don't leave it out, since that flatters a join."),
        gettext("A loaded line hurts: eye protection, a heavy cloth over the line, no one in its "
                "path. Figures are for fishing, never for lifting, climbing or towing."),
    ]  # fmt: skip
    for number, sentence in enumerate(words, start=len(columns) + 3):
        _write(sheet, number, ["", sentence])
        sheet.cell(number, 2).alignment = Alignment(wrap_text=True)


def _offer(
    sheet: Worksheet, column: int, lists: Worksheet, place: int, name: str, choices: Sequence[str]
) -> None:
    """A drop-down below a heading. Other words may be typed; the service says what it knows."""
    letter = get_column_letter(place)
    lists.cell(1, place, gettext("for %(column)s") % {"column": name}).font = Font(bold=True)
    for number, choice in enumerate(choices, start=2):
        _put(lists, number, place, choice)
    if not choices:
        return
    rows = f"${letter}$2:${letter}${len(choices) + 1}"
    offered = DataValidation(
        type="list", formula1=f"'{lists.title}'!{rows}", allow_blank=True, showErrorMessage=False
    )
    offered.add(f"{get_column_letter(column)}2:{get_column_letter(column)}{ROWS + 1}")
    sheet.add_data_validation(offered)


def _choices(contributor: Contributor | None) -> dict[str, list[str]]:
    lines = _names(Line.objects.filter(_usable(contributor)).values_list("name", flat=True))
    joins = Connection.objects.filter(_usable(contributor)).values_list("name", flat=True)
    own = Rig.objects.filter(owner=contributor) if contributor else Rig.objects.none()
    revisions = RigRevision.objects.filter(rig__in=own).values_list("number", flat=True)
    return {
        "rig": _names(own.values_list("name", flat=True)),
        "revision": [str(number) for number in sorted(set(revisions))],
        "state": list(Session.State.values),
        "loading": list(Session.Loading.values),
        "unit": list(FORCE_UNITS),
        "kind": ["straight", "joined"],
        "connection": _names(joins),
        "doubled": ["no", "yes"],
        "main line": lines,
        "leader line": lines,
        "terminal": sorted(TERMINALS),
        "position": ["before", "between", "after"],
        "failure mode": list(Pull.FailureMode.values),
    }


def _usable(contributor: Contributor | None) -> Q:
    return usable_by(contributor) if contributor else Q(accepted=True)


def _names(found: Iterable[str]) -> list[str]:
    return sorted(found, key=str.casefold)[:MOST_CHOICES]


def _write(sheet: Worksheet, number: int, cells: Sequence[str], *, bold: bool = False) -> None:
    for place, text in enumerate(cells, start=1):
        if text:
            _put(sheet, number, place, text)
            if bold:
                sheet.cell(number, place).font = Font(bold=True)


def _put(sheet: Worksheet, number: int, place: int, text: str) -> None:
    """Numbers as such; text as text, even where it begins like a formula."""
    if text.isascii() and text.isdigit() and len(text) < 6:
        sheet.cell(number, place, int(text))
        return
    cell = sheet.cell(number, place, str(safe(text)))
    cell.data_type = "s"
