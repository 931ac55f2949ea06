"""Bodies of JSON that can be stored.

PostgreSQL stores no NUL and UTF-8 has no lone surrogates, so both are refused at the door.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import IO, Any

import msgspec
from django.utils.translation import gettext
from rest_framework.parsers import BaseParser

from rigs.refusals import Finding, TooLarge, Unreadable

LARGEST_BODY = 1024 * 1024
DEEPEST = 32


class StorableJSON(BaseParser):
    """JSON of at most a mebibyte and 32 levels, without NUL, lone surrogates, NaN or infinity."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,  # noqa: ARG002
        parser_context: Mapping[str, Any] | None = None,  # noqa: ARG002
    ) -> Any:
        body = stream.read(LARGEST_BODY + 1)
        if len(body) > LARGEST_BODY:
            raise TooLarge(
                gettext("The body is longer than %(largest_body)s bytes.")
                % {"largest_body": LARGEST_BODY}
            )
        try:
            document = msgspec.json.decode(body)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise Unreadable(
                gettext("The body is not JSON: %(error)s.") % {"error": error}
            ) from error
        for place, text in _texts(document):
            if "\x00" in text:
                raise Unreadable(
                    gettext("The body holds a NUL character, which can't be stored."),
                    [
                        Finding(
                            row=place,
                            field="",
                            found=gettext("a NUL character"),
                            expected=gettext("text"),
                        )
                    ],
                )
        return document


def _texts(document: Any, place: str = "", depth: int = 0) -> Iterator[tuple[str, str]]:
    """Every string in a document with its place, member names included."""
    if depth > DEEPEST:
        raise Unreadable(
            gettext("The body is nested more than %(deepest)s levels deep.") % {"deepest": DEEPEST}
        )
    if isinstance(document, str):
        yield place, document
    elif isinstance(document, dict):
        for name, value in document.items():
            yield place, name
            yield from _texts(value, f"{place}.{name}" if place else name, depth + 1)
    elif isinstance(document, list):
        for index, value in enumerate(document):
            yield from _texts(value, f"{place}[{index}]", depth + 1)
