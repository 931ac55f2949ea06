"""The text of a CSV file, in whichever of the usual ways its bytes stand for letters."""

from __future__ import annotations

import re
from collections.abc import Iterator

from django.utils.translation import gettext, gettext_lazy

from rigs.refusals import Finding, Unreadable

_BEGIN_WITH = (
    (b"\x89PNG", gettext_lazy("a picture")),
    (b"\xff\xd8\xff", gettext_lazy("a picture")),
    (b"GIF8", gettext_lazy("a picture")),
    (b"RIFF", gettext_lazy("a picture or a sound")),
    (b"%PDF", gettext_lazy("a PDF")),
    (b"{\\rtf", gettext_lazy("a text document (.rtf)")),
    (b"\xff\xfe\x00\x00", gettext_lazy("a text in UTF-32")),
)
"""What begins with these bytes, by the formats' own documents."""
_WEB_PAGE = re.compile(rb"(?:\xef\xbb\xbf)?\s*<(?:!doctype|html|\?xml)", re.IGNORECASE)
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ZIP = b"PK\x03\x04"


def decoded(body: bytes) -> tuple[str, list[Finding]]:
    """The text, and a remark where its letters had to be guessed. Raises Unreadable.

    UTF-8 and UTF-16 as they say of themselves; what is neither is taken for Windows-1252, which
    holds Latin-1 and is what spreadsheets in Western Europe and America write as plain CSV.
    """
    refuse_foreign(body)
    encoding = "utf-16" if body[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    remarks: list[Finding] = []
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as error:
        text = _of_windows(body, error.start)
        remarks = list(_guessed(text))
    if "\x00" in text:
        row = text.count("\n", 0, text.index("\x00")) + 1
        raise Unreadable(
            gettext("Row %(row)s holds a NUL character; this may not be a text file.")
            % {"row": row},
            [Finding(str(row), "", gettext("a NUL character"), gettext("text"))],
        )
    return text, remarks


def refuse_other_kinds(body: bytes, kind: str) -> None:
    """Say what a file is that was sent as ``kind``. Raises Unreadable."""
    found = next((str(words) for begin, words in _BEGIN_WITH if body.startswith(begin)), "")
    if not found and body[4:8] == b"ftyp":
        found = gettext("a picture or a film")
    if not found and _WEB_PAGE.match(body):
        found = gettext("a web page")
    if found:
        raise Unreadable(
            gettext("This is %(found)s and not %(kind)s.") % {"found": found, "kind": kind},
            [Finding("", "", found, kind)],
        )


def refuse_foreign(body: bytes, *, zip_too: bool = True) -> None:
    """Say what to do with files of other kinds. Raises Unreadable."""
    if body.startswith(_OLD_WORKBOOK):
        raise Unreadable(
            gettext(
                "This is a workbook of the old kind (.xls), or one with a password. Open it, and "
                "save it without a password as .xlsx or as CSV UTF-8."
            )
        )
    refuse_other_kinds(body, gettext("a sheet"))
    if zip_too and body.startswith(_ZIP):
        raise Unreadable(
            gettext(
                "This is a workbook and not CSV. Send it as .xlsx, or save the sheet as CSV UTF-8."
            )
        )


def _of_windows(body: bytes, start: int) -> str:
    try:
        return body.decode("cp1252")
    except UnicodeDecodeError:
        row = body.count(b"\n", 0, start) + 1
        raise Unreadable(
            gettext(
                "Row %(row)s holds something that is no letter; this may not be a text file. Save "
                "it as 'CSV UTF-8'."
            )
            % {"row": row},
            [Finding(str(row), "", gettext("something that is no letter"), gettext("UTF-8 text"))],
        ) from None


def _guessed(text: str) -> Iterator[Finding]:
    """A remark with the first word that shows whether the guess is right.

    No-break spaces alone need none: they are the same in all tables of Western letters.
    """
    at = next((place for place, letter in enumerate(text) if letter > "\u00a0"), None)
    if at is None:
        return
    around = re.split(r"[\s,;\"]+", text[max(0, at - 20) : at + 20])
    word = next(word for word in around if any(letter > "\u00a0" for letter in word))
    found = gettext("letters that are not UTF-8, read as '%(word)s'") % {"word": word}
    row = text.count("\n", 0, at) + 1
    yield Finding(str(row), "", found, gettext("CSV saved as UTF-8; is the word right?"))
