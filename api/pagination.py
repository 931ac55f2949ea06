"""Long lists in pages: ``?limit=`` and ``?offset=``, both bounded."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.request import Request

from rigs.refusals import Finding, Invalid


class Pages(LimitOffsetPagination):
    """50 rows a page unless ``limit`` asks for another number, at most 200."""

    default_limit = 50
    max_limit = 200
    furthest_offset = 1_000_000

    def get_limit(self, request: Request) -> int:
        return self._number(request, "limit", self.default_limit, 1, self.max_limit)

    def get_offset(self, request: Request) -> int:
        return self._number(request, "offset", 0, 0, self.furthest_offset)

    @staticmethod
    def _number(request: Request, name: str, default: int, lowest: int, highest: int) -> int:
        written = request.query_params.get(name)
        if written is None:
            return default
        if written.isascii() and written.isdigit() and len(written) < 9:
            number = int(written)
            if lowest <= number <= highest:
                return number
        expected = gettext("a whole number from %(lowest)s to %(highest)s") % {
            "lowest": lowest,
            "highest": highest,
        }
        raise Invalid(
            gettext("There is no such page: %(name)s has to be %(expected)s.")
            % {"name": name, "expected": expected},
            [Finding(row="query", field=name, found=written, expected=expected)],
        )

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        described = super().get_paginated_response_schema(schema)
        described["properties"]["count"]["description"] = "rows in all pages together"
        return described
