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

    def get_schema_operation_parameters(self, _view: Any) -> list[dict[str, Any]]:
        """What the OpenAPI document says of the two, bounds included."""
        offset = {"minimum": 0, "maximum": self.furthest_offset, "default": 0}
        limit = {"minimum": 1, "maximum": self.max_limit, "default": self.default_limit}
        said = {
            "limit": (limit, "rows in a page"),
            "offset": (offset, "rows to pass over before the first of the page"),
        }
        return [
            {
                "name": name,
                "in": "query",
                "required": False,
                "description": description,
                "schema": {"type": "integer", **bounds},
            }
            for name, (bounds, description) in said.items()
        ]

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        described = super().get_paginated_response_schema(schema)
        members = described["properties"]
        members["count"] = {
            "type": "integer",
            "minimum": 0,
            "description": "rows in all pages together",
        }
        for name, said in (("next", "following"), ("previous", "preceding")):
            members[name] = {
                "type": ["string", "null"],
                "format": "uri",
                "description": f"address of the {said} page; null where there is none",
            }
        described["required"] = ["count", "next", "previous", "results"]
        return described
