"""From the bytes of an upload to a document, whatever form they came in."""

from __future__ import annotations

import copy
import json
from dataclasses import dataclass, field
from typing import Any

import msgspec
from django.utils.translation import gettext

from results.intake import sheets, tables
from results.intake.blind_codes import understood
from results.intake.decoding import refuse_other_kinds
from results.intake.document import SessionDocument
from results.intake.findings import Findings, shown
from results.intake.limits import (
    MOST_BYTES,
    MOST_MEMBERS,
    MOST_PULLS,
    MOST_PULLS_OF_A_SET,
    MOST_SAMPLES_OF_A_SESSION,
    MOST_SETS,
)
from results.intake.walk import Repeating, Walk
from rigs.refusals import Finding, Invalid, TooLarge, Unreadable

JSON = "application/json"
CSV = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORMS = (JSON, CSV, XLSX)
_OTHER_COLONS = (b" :", b"\t:", b"\r:", b"\n:", b"u0022")


@dataclass(frozen=True)
class Read:
    """A document, what is wrong with its form, and where on a sheet its parts stood.

    ``rows`` maps places such as ``pull_sets[0].pulls[3]`` to rows of a sheet, and is empty for
    JSON. Parts in ``broken`` hold stand-ins, or lack a pull that could not be read. ``remarks``
    name what a sheet holds that was left out, or had to be guessed, ``asked`` what has to be
    looked at before it is stored, and ``titles`` lines above the headings that are titles.
    """

    document: SessionDocument
    findings: Findings = field(default_factory=Findings)
    broken: frozenset[str] = frozenset()
    rows: dict[str, str] = field(default_factory=dict)
    remarks: tuple[Finding, ...] = ()
    asked: tuple[Finding, ...] = ()
    titles: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True)
class Coded:
    """A session whose sets go by codes of a round: its members, before any has been checked.

    ``findings``, ``rows``, ``remarks`` and ``asked`` are as in `Read`.
    """

    value: dict[str, Any]
    findings: Findings = field(default_factory=Findings)
    rows: dict[str, str] = field(default_factory=dict)
    remarks: tuple[Finding, ...] = ()
    asked: tuple[Finding, ...] = ()

    @property
    def sets(self) -> list[Any]:
        found = self.value.get("pull_sets")
        return found if isinstance(found, list) else []

    def read(self, value: dict[str, Any]) -> Read:
        """The session with ``value`` in place of its members, findings by their places in it.

        Raises TooLarge.
        """
        walk = Walk(copy.deepcopy(self.findings))
        document = walk.document(value, SessionDocument)
        _refuse_vast(document)
        return Read(
            document,
            walk.findings,
            frozenset(walk.broken),
            remarks=self.remarks,
            asked=self.asked,
        )


class GoesByCodes(Invalid):
    """A session that goes by codes of a round came where only others are taken."""

    def __init__(self, coded: Coded) -> None:
        first = next(at for at, one in enumerate(coded.sets) if _names_code(one))
        place = f"pull_sets[{first}]"
        code = understood(str(coded.sets[first]["sample"])[:40])
        expected = gettext("join and lines in place of the code: here no round fills them in")
        super().__init__(
            gettext("Samples of a round are sent as a session of their own. Nothing was stored."),
            [Finding(coded.rows.get(place, place), "sample", shown(code), expected)],
        )
        self.coded = coded


def coded(body: bytes, content_type: str) -> Coded:
    """Read an upload that goes by codes of a round. Raises as `read`, Invalid where it doesn't."""
    try:
        read(body, content_type)
    except GoesByCodes as found:
        return found.coded
    raise Invalid(
        gettext("No set of this session has a code of a round."),
        [Finding("", "sample", gettext("nothing"), gettext("the code on the label"))],
    )


def read(body: bytes, content_type: str) -> Read:
    """Read an upload in any of ``FORMS``.

    Raises Unreadable, Invalid and TooLarge, and GoesByCodes of sets that have codes of a round.
    """
    if len(body) > MOST_BYTES:
        raise TooLarge(
            gettext("The upload has %(body)s bytes; at most %(most_bytes)s are taken.")
            % {"body": len(body), "most_bytes": MOST_BYTES}
        )
    form = form_of(content_type)
    if form == JSON:
        found = _read_json(body)
    elif form == CSV:
        found = _read_sheet(tables.csv_table(body))
    else:
        found = _read_sheet(tables.xlsx_table(body))
    _refuse_vast(found.document)
    return found


def _refuse_vast(document: SessionDocument) -> None:
    """Bounds on counts hold for every form alike, and before anything is looked up or computed."""
    pulls = sum(len(part.pulls) for part in document.parts())
    if pulls > MOST_PULLS:
        raise TooLarge(
            gettext("The session has %(pulls)s pulls; at most %(most_pulls)s are taken at once.")
            % {"pulls": pulls, "most_pulls": MOST_PULLS}
        )
    traces = (pull.trace for part in document.parts() for pull in part.pulls)
    samples = sum(len(trace.force) for trace in traces if trace is not None)
    if samples > MOST_SAMPLES_OF_A_SESSION:
        raise TooLarge(
            gettext("The traces have %(samples)s samples; at most %(most)s are taken at once.")
            % {"samples": samples, "most": MOST_SAMPLES_OF_A_SESSION}
        )
    for name in ("baselines", "pull_sets"):
        parts = getattr(document, name)
        if len(parts) > MOST_SETS:
            raise TooLarge(
                gettext("%(name)s has %(parts)s items; at most %(most_sets)s are taken at once.")
                % {"name": name, "parts": len(parts), "most_sets": MOST_SETS}
            )
        for index, part in enumerate(parts):
            if len(part.pulls) > MOST_PULLS_OF_A_SET:
                raise TooLarge(
                    gettext(
                        "%(name)s[%(index)s] has %(pulls)s pulls; at most "
                        "%(most_pulls_of_a_set)s are taken in one set."
                    )
                    % {
                        "name": name,
                        "index": index,
                        "pulls": len(part.pulls),
                        "most_pulls_of_a_set": MOST_PULLS_OF_A_SET,
                    }
                )


def form_of(content_type: str) -> str:
    """The one of ``FORMS`` that a Content-Type names. Raises Unreadable."""
    form = content_type.partition(";")[0].strip().lower()
    if form not in FORMS:
        raise Unreadable(
            gettext("A session is sent as %(forms)s, not %(form)s.")
            % {"forms": " or ".join(FORMS), "form": form or "nothing"}
        )
    return form


def _read_json(body: bytes) -> Read:
    try:
        document = msgspec.json.decode(body, type=SessionDocument)
        _refuse_vast(document)
        if not _may_repeat(body):
            return Read(document)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        pass
    _refuse_crowded(body)
    value = _loaded(body)
    if isinstance(value, dict):
        _refuse_codes(Coded(value))
    return _walked(value)


def _refuse_codes(found: Coded) -> None:
    if any(map(_names_code, found.sets)):
        raise GoesByCodes(found)


def _names_code(pull_set: object) -> bool:
    return isinstance(pull_set, dict) and "sample" in pull_set


def _may_repeat(body: bytes) -> bool:
    """Whether an object may name a member twice; False is sure. Raises msgspec.DecodeError.

    A reader keeps the last of two members alike, so that the same document written again has
    fewer colons behind quotation marks. Only documents that write one in another way are not sure.
    """
    if any(colon in body for colon in _OTHER_COLONS):
        return True
    again = msgspec.json.encode(msgspec.json.decode(body))
    return again.count(b'":') != body.count(b'":')


def _refuse_crowded(body: bytes) -> None:
    """What can't be converted at once is held as Python objects, sixty bytes for each comma."""
    members = body.count(b",") + body.count(b"[") + body.count(b"{")
    if members > MOST_MEMBERS:
        raise TooLarge(
            gettext("The JSON has %(members)s members; at most %(most_members)s are taken.")
            % {"members": members, "most_members": MOST_MEMBERS}
        )


def _loaded(body: bytes) -> object:
    """The document without its form; NaN and Infinity are let through, to be named in place."""
    refuse_other_kinds(body, "JSON")
    if not body.strip():
        raise Unreadable(
            gettext("The file is empty."),
            [Finding("", "", gettext("nothing"), gettext("a session"))],
        )
    try:
        return json.loads(body.decode("utf-8-sig"), object_pairs_hook=Repeating.of)
    except RecursionError as error:
        raise Unreadable(gettext("The JSON is nested too deep to be a session.")) from error
    except UnicodeDecodeError as error:
        raise Unreadable(
            gettext("The JSON is not UTF-8 text at byte %(start)s. Save it as UTF-8.")
            % {"start": error.start + 1}
        ) from error
    except json.JSONDecodeError as error:
        place = gettext("line %(line)s, column %(column)s") % {
            "line": error.lineno,
            "column": error.colno,
        }
        why = _why_no_json(error)
        raise Unreadable(
            gettext("This is not JSON: %(why)s at %(place)s.") % {"why": why, "place": place},
            [Finding(place, "", why, "JSON (RFC 8259)")],
        ) from None
    except ValueError as error:
        raise Unreadable(gettext("The JSON holds a number of thousands of digits.")) from error


def _why_no_json(error: json.JSONDecodeError) -> str:
    """The reason in our own words, by what the reader says in its own."""
    reasons = {
        "Expecting value": gettext("a value is missing"),
        "Expecting ','": gettext("a comma or a closing bracket is missing"),
        "Expecting ':'": gettext("a colon is missing behind a name"),
        "Expecting property name": gettext("a name in quotation marks is missing"),
        "Unterminated string": gettext("a text is opened and not closed"),
        "Invalid control": gettext("a text holds a line break or another character of control"),
        "Invalid \\": gettext("a backslash stands before something it can't stand before"),
        "Extra data": gettext("something stands behind the end"),
        "Illegal trailing": gettext("a comma stands before a closing bracket"),
    }
    known = (why for begins, why in reasons.items() if error.msg.startswith(begins))
    return next(known, gettext("something is out of place"))


def _walked(value: object) -> Read:
    walk = Walk()
    document = walk.document(value, SessionDocument)
    return Read(document, walk.findings, frozenset(walk.broken))


def _read_sheet(table: tables.Table) -> Read:
    sheet = sheets.document_of(table)
    remarks, asked, titles = tuple(sheet.remarks), tuple(sheet.asked), tuple(sheet.titles)
    _refuse_codes(Coded(sheet.value, sheet.findings, sheet.rows, remarks, asked))
    try:
        document = msgspec.convert(sheet.value, SessionDocument)
    except ValueError:
        walk = Walk(sheet.findings)
        document = walk.document(sheet.value, SessionDocument)
        broken = frozenset(walk.broken | sheet.broken)
        return Read(document, walk.findings, broken, sheet.rows, remarks, asked, titles)
    broken = frozenset(sheet.broken)
    return Read(document, sheet.findings, broken, sheet.rows, remarks, asked, titles)
