"""Which members of a row are answered: ``?fields=id,url``, of lists and of single resources."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext
from rest_framework.request import Request

from rigs.refusals import Finding, Invalid


def fields_asked(request: Request, view: Any) -> list[str]:
    """The members asked for; none where all are. Raises Invalid, which names those there are."""
    asked = [name for name in request.query_params.get("fields", "").split(",") if name]
    known = view.get_serializer().fields if asked else ()
    unknown = [name for name in asked if name not in known]
    if unknown:
        expected = gettext("members of a row: %(known)s") % {"known": ", ".join(known)}
        raise Invalid(
            gettext("There is no such member here."),
            [Finding("query", "fields", name, expected) for name in unknown],
        )
    return asked


def only(row: Any, fields: list[str]) -> Any:
    """The row with these members alone, in the order they were asked for; all where none was."""
    return {name: row[name] for name in fields if name in row} if fields else row
