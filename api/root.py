"""The root of the API: a link to every list, for clients that find their way by links."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.views import APIView

from rigs.models import Material

LINKED = {
    "pools": "pools",
    "ranking": "ranking",
    "lines": "lines",
    "connections": "connections",
    "contributors": "contributors",
    "clubs": "clubs",
    "rigs": "rigs",
    "sessions": "sessions",
    "waiting_sessions": "waiting-sessions",
    "session_template": "session-template",
    "session_template_workbook": "session-template-workbook",
    "recordings": "recordings",
    "open_data": "open-data",
    "tokens": "tokens",
    "current_token": "current-token",
    "me": "me",
    "my_data": "my-data",
    "notices": "notices",
    "notices_read": "notices-read",
    "reports": "reports",
    "reviews": "reviews",
    "rounds": "rounds",
    "round_entries": "round-entries",
    "review_decisions": "decide-many",
    "check_records": "check-records",
    "schema": "schema",
    "docs": "docs",
}
"""Names of the addresses that take no id, by the member that holds the link."""
NEEDED = {"ranking": {"main": Material.NYLON, "leader": Material.FLUOROCARBON}}
"""What an address has to be asked with, as one that answers."""
TEMPLATES = {
    "calibration": "/calibrations/{id}",
    "comparison": "/pools/{id}/comparison",
    "connection": "/connections/{id}",
    "contributor": "/contributors/{id}",
    "job": "/jobs/{id}",
    "line": "/lines/{id}",
    "pool": "/pools/{id}",
    "pools": "/pools{?main,leader,terminal,connection,doubled,wet,shock,least_testers}",
    "pull_set": "/pull-sets/{id}",
    "ranking": "/pools/ranking{?main,leader,terminal,wet,shock}",
    "rig": "/rigs/{id}",
    "round": "/rounds/{id}",
    "session": "/sessions/{id}",
    "sessions": "/sessions{?contributor,rig,since,until,standing,changed_since}",
}
"""Addresses to fill in (URI templates, RFC 6570), from the root on."""
LINKS: dict[str, Any] = {
    "type": "object",
    "required": [*LINKED, "templates"],
    "properties": {
        **{member: {"type": "string", "format": "uri"} for member in LINKED},
        "templates": {
            "type": "object",
            "description": "addresses to fill in (URI templates, RFC 6570)",
            "additionalProperties": {"type": "string", "format": "uri-template"},
        },
    },
}


class Root(APIView):
    """Where everything is: the lists, one's own account, and the description of the API."""

    @extend_schema(tags=["root"], operation_id="root", responses={200: LINKS})
    def get(self, request: Request) -> Response:
        links = {
            member: reverse(f"api:{name}", request=request, query=NEEDED.get(member))
            for member, name in LINKED.items()
        }
        above = reverse("api:root", request=request).removesuffix("/")
        templates = {name: above + path for name, path in TEMPLATES.items()}
        described = f'<{links["schema"]}>; rel="service-desc", <{links["docs"]}>; rel="service-doc"'
        return Response({**links, "templates": templates}, headers={"Link": described})
