"""Long lists in pages, ``?limit=`` and ``?offset=``: which members of rows, and what changed."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, Protocol

from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext
from rest_framework import serializers
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param

from api.sparse import fields_asked, only
from rigs.refusals import Finding, Invalid

OF_ANY_LIST = ("limit", "offset", "fields", "ordering", "format", "changed_since", "after")
"""Parameters that lists take beside their own filters."""
OVERLAP = timedelta(minutes=10)
"""What is stored bears the time at which it was computed and shows once its transaction ends, at
most a minute and a half later (the workers' time limit); clocks of machines differ by less too."""


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
        if written.isascii() and written.isdigit() and len(written) < 20:
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

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> Any:
        self.fields = fields_asked(request, view)
        if "changed_since" in request.query_params and not hasattr(view, "changed_since"):
            raise Invalid(
                gettext("This list doesn't say what changed: read it whole."),
                [
                    Finding(
                        "query",
                        "changed_since",
                        request.query_params["changed_since"],
                        gettext("nothing here; pools and sessions take it"),
                    )
                ],
            )
        return super().paginate_queryset(queryset, request, view)

    def get_paginated_response(self, data: Any) -> Response:
        """The page; links to its neighbours stand in the Link header too (RFC 8288)."""
        links = {"next": self.get_next_link(), "prev": self.get_previous_link()}
        document = {
            "count": self.count,
            "next": links["next"],
            "previous": links["prev"],
            "results": [only(row, self.fields) for row in data],
        }
        link = ", ".join(f'<{address}>; rel="{rel}"' for rel, address in links.items() if address)
        return Response(document, headers={"Link": link} if link else None)

    def get_schema_operation_parameters(self, _view: Any) -> list[dict[str, Any]]:
        """What the OpenAPI document says of them, bounds included."""
        offset = {"minimum": 0, "maximum": self.furthest_offset, "default": 0}
        limit = {"minimum": 1, "maximum": self.max_limit, "default": self.default_limit}
        return [
            _parameter("limit", "rows in a page", {"type": "integer", **limit}),
            _parameter(
                "offset",
                "rows to pass over before the first of the page",
                {"type": "integer", **offset},
            ),
            _parameter(
                "fields",
                "members of a row to answer, with commas between; all of them where left out",
                {"type": "string"},
            ),
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


class Changing(Protocol):
    """A list that can say which of its rows changed."""

    def changed_since(self, moment: datetime) -> Q:
        """The condition on rows that changed at this moment or later."""


class PagesOfChanges(Pages):
    """Pages that can be limited to what changed since an earlier answer.

    ``changed_until`` of one answer is the ``changed_since`` of the next. It lies OVERLAP before
    the answer, so that what was being stored meanwhile is in the next one: rows may come twice,
    none is missed. Pages of changes go by id and not by offset, so that a row that vanishes
    meanwhile moves no other.
    """

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> Any:
        self.until = timezone.now() - OVERLAP
        self.since = _moment(request)
        if self.since is None:
            return super().paginate_queryset(queryset, request, view)
        return self._changes(queryset.filter(view.changed_since(self.since)), request, view)

    def _changes(self, changed: QuerySet[Any], request: Request, view: Any) -> list[Any]:
        self.fields = fields_asked(request, view)
        self.request, self.limit, self.offset = request, self.get_limit(request), 0
        self.count = changed.count()
        after = self._number(request, "after", 0, 0, 2**63 - 1)
        rows = list(changed.filter(pk__gt=after).order_by("pk")[: self.limit + 1])
        self.last = rows[self.limit - 1].pk if len(rows) > self.limit else None
        return rows[: self.limit]

    def get_next_link(self) -> str | None:
        if self.since is None:
            return super().get_next_link()
        if self.last is None:
            return None
        assert self.request is not None
        here = remove_query_param(self.request.build_absolute_uri(), "offset")
        return replace_query_param(here, "after", self.last)

    def get_paginated_response(self, data: Any) -> Response:
        response = super().get_paginated_response(data)
        response.data["changed_until"] = f"{self.until:%Y-%m-%dT%H:%M:%SZ}"
        return response

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        return [
            *super().get_schema_operation_parameters(view),
            _parameter(
                "changed_since",
                "only rows that changed at this time or later, by id: changed_until of an earlier "
                "answer, or any time in UTC",
                {"type": "string", "format": "date-time"},
            ),
            _parameter(
                "after",
                "with changed_since: only rows with a greater id; 'next' holds it",
                {"type": "integer", "minimum": 0, "maximum": 2**63 - 1},
            ),
        ]

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        described = super().get_paginated_response_schema(schema)
        described["properties"]["changed_until"] = {
            "type": "string",
            "format": "date-time",
            "description": "for changed_since, next time: of the first page, where there are more",
        }
        described["required"].append("changed_until")
        return described


def _parameter(name: str, description: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {
        "name": name,
        "in": "query",
        "required": False,
        "description": description,
        "schema": schema,
    }


def _moment(request: Request) -> datetime | None:
    written = request.query_params.get("changed_since")
    if written is None:
        return None
    try:
        moment: datetime = serializers.DateTimeField().to_internal_value(written)
    except (serializers.ValidationError, OverflowError):
        expected = gettext("a time in UTC, as 2026-01-31T18:00:00Z")
        raise Invalid(
            gettext("It is not clear since when."),
            [Finding("query", "changed_since", written, expected)],
        ) from None
    return moment
