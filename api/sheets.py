"""Lists as CSV: a row each, what is within a member by its path, as ``current.efficiency``."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from typing import Any

from rest_framework.mixins import ListModelMixin
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

from results.public.csv_cells import safe


class Sheet(BaseRenderer):
    """CSV (RFC 4180) of the rows of a list; the next page is in the Link header."""

    media_type, format, charset = "text/csv", "csv", "utf-8"

    def render(
        self, data: Any, _accepted_media_type: str | None = None, _context: Any = None
    ) -> bytes:
        rows = [dict(_cells(row)) for row in data["results"]]
        columns = list(dict.fromkeys(name for row in rows for name in row))
        sheet = io.StringIO()
        cells = csv.DictWriter(sheet, columns, lineterminator="\r\n")
        cells.writeheader()
        cells.writerows(rows)
        return sheet.getvalue().encode()


def _cells(row: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, object]]:
    """Path and value of each cell; a list is written as JSON."""
    for name, value in row.items():
        if isinstance(value, Mapping):
            yield from _cells(value, f"{above}{name}.")
        elif isinstance(value, list):
            yield above + name, safe(json.dumps(value, ensure_ascii=False, default=str))
        else:
            yield above + name, _cell(value)


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return safe(value) if isinstance(value, str) else value


class JsonOrSheet(DefaultContentNegotiation):
    """JSON everywhere, and for lists also CSV, by ``Accept`` or ``?format=csv``.

    REST framework's own ``?format=`` would put itself into every address that is answered.
    """

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> Any:
        if is_list(request):
            renderers = [*renderers, Sheet()]
        if form := request.query_params.get("format"):
            renderers = self.filter_renderers(renderers, form)
        return super().select_renderer(request, renderers, format_suffix)


def is_list(request: Request) -> bool:
    """Whether a request reads a list."""
    view = request.parser_context["view"]
    return request.method in ("GET", "HEAD") and isinstance(view, ListModelMixin)


def describe_sheets(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Say of each list in the OpenAPI document that it is answered as CSV too."""
    for operations in result["paths"].values():
        for operation in operations.values():
            content = operation["responses"].get("200", {}).get("content", {})
            schema = content.get("application/json", {}).get("schema", {})
            if schema.get("$ref", "").startswith("#/components/schemas/Paginated"):
                content[Sheet.media_type] = {
                    "schema": {"type": "string"},
                    "examples": {"header": {"value": "id,url\r\n1,https://pulls.example/…\r\n"}},
                }
    return result
