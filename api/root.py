"""The root of the API: a link to every list, for clients that find their way by links."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.views import APIView

LINKED = {
    "pools": "pools",
    "ranking": "ranking",
    "lines": "lines",
    "connections": "connections",
    "contributors": "contributors",
    "clubs": "clubs",
    "rigs": "rigs",
    "sessions": "sessions",
    "session_template": "session-template",
    "open_data": "open-data",
    "tokens": "tokens",
    "current_token": "current-token",
    "me": "me",
    "my_data": "my-data",
    "notices": "notices",
    "notices_read": "notices-read",
    "reports": "reports",
    "reviews": "reviews",
    "review_decisions": "decide-many",
    "check_records": "check-records",
    "schema": "schema",
    "docs": "docs",
}
"""Names of the addresses that take no id, by the member that holds the link."""
LINKS: dict[str, Any] = {
    "type": "object",
    "required": list(LINKED),
    "properties": {member: {"type": "string", "format": "uri"} for member in LINKED},
}


class Root(APIView):
    """Where everything is: the lists, one's own account, and the description of the API."""

    @extend_schema(tags=["root"], operation_id="root", responses={200: LINKS})
    def get(self, request: Request) -> Response:
        return Response(
            {member: reverse(f"api:{name}", request=request) for member, name in LINKED.items()}
        )
