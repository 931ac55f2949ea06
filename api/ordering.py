"""The order of a list: ``?ordering=-efficiency,id``."""

from __future__ import annotations

from typing import Any

from django.db.models import F, QuerySet
from django.utils.translation import gettext
from rest_framework.filters import BaseFilterBackend
from rest_framework.request import Request

from rigs.refusals import Finding, Invalid


class Ordering(BaseFilterBackend):
    """Orders the lists that name their ``orderings``: a column by the member it is shown as.

    Rows without a value come last, and rows of the same value by their id, so that pages neither
    repeat nor leave out a row. Raises Invalid, which names the members that there are.
    """

    def filter_queryset(
        self, request: Request, queryset: QuerySet[Any], view: Any
    ) -> QuerySet[Any]:
        orderings: dict[str, str] = getattr(view, "orderings", {})
        asked = request.query_params.get("ordering")
        if not orderings or asked is None:
            return queryset
        names = [name for name in asked.split(",") if name]
        unknown = [name for name in names if name.removeprefix("-") not in orderings]
        if unknown or not names:
            expected = gettext("one of %(known)s, with - before it for the other way round") % {
                "known": ", ".join(orderings)
            }
            raise Invalid(
                gettext("This list has no such order."),
                [Finding("query", "ordering", name, expected) for name in unknown or [asked]],
            )
        columns = [(F(orderings[name.removeprefix("-")]), name.startswith("-")) for name in names]
        return queryset.order_by(
            *(
                column.desc(nulls_last=True) if down else column.asc(nulls_last=True)
                for column, down in columns
            ),
            "pk",
        )

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        orderings = getattr(view, "orderings", {})
        known = ", ".join(orderings)
        said = f"members to order by, with commas between and - before it for descending: {known}"
        one = {"name": "ordering", "in": "query", "required": False, "description": said}
        return [{**one, "schema": {"type": "string"}}] if orderings else []
