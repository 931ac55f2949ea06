"""What the OpenAPI document says of problems: their schema, and an example of each kind."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from api.exceptions import CONTENT_TYPE
from api.problem_kinds import KINDS

PROBLEM = {
    "type": "object",
    "description": "Problem details (RFC 9457).",
    "required": ["type", "title", "status", "detail", "instance", "findings"],
    "properties": {
        "type": {
            "type": "string",
            "format": "uri-reference",
            "description": "address of a page that explains this kind of problem",
        },
        "title": {"type": "string", "description": "the kind in a few words"},
        "status": {"type": "integer", "description": "the HTTP status, here once more"},
        "detail": {"type": "string", "description": "what happened here, and what to do"},
        "instance": {"type": "string", "description": "path of the request"},
        "wait_at": {
            "type": "string",
            "format": "uri-reference",
            "description": "where the same can be sent to propose what the catalogue lacks",
        },
        "findings": {
            "type": "array",
            "description": "one entry for each thing to correct",
            "items": {
                "type": "object",
                "required": ["row", "field", "found", "expected"],
                "properties": {
                    "row": {"type": "string", "description": "row of a sheet, or place"},
                    "field": {"type": "string", "description": "column, member or parameter"},
                    "found": {"type": "string", "description": "as it was sent"},
                    "expected": {"type": "string", "description": "what would be taken"},
                },
            },
        },
    },
}
_RESOLUTION = {
    "row": "revision",
    "field": "resolution",
    "found": "0.1 stone",
    "expected": "a unit: N, kN, lbf, kgf, gf, ozf",
}
_LIMIT = {
    "row": "query",
    "field": "limit",
    "found": "1000",
    "expected": "a whole number from 1 to 200",
}
ANYWHERE = ("bad-request", "not-acceptable", "too-many-requests", "unavailable", "unexpected")
OF_ACCOUNTS = ("not-signed-in", "forbidden")
OF_BODIES = ("unreadable", "invalid", "conflict", "too-large", "unsupported-media-type")
OF_UPLOADS = ("account-suspended", "account-closed")


def add_problems(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Say of every operation that whatever else it answers is a problem, with examples."""
    components = result["components"]
    components.setdefault("schemas", {})["Problem"] = PROBLEM
    used: set[str] = set()
    for path, operations in result["paths"].items():
        for operation in operations.values():
            shown = {kind: {"$ref": f"#/components/examples/{kind}"} for kind in _kinds(operation)}
            schema = {"$ref": "#/components/schemas/Problem"}
            if "{" in path:
                shown["not-found"] = {"$ref": "#/components/examples/not-found"}
            operation["responses"]["default"] = {
                "description": "A problem; /problems/… explains its type.",
                "content": {CONTENT_TYPE: {"schema": schema, "examples": shown}},
            }
            used |= shown.keys()
    components["examples"] = {kind: _example(kind) for kind in KINDS if kind in used}
    return result


def _kinds(operation: dict[str, Any]) -> Iterator[str]:
    yield from ANYWHERE
    if {} not in operation.get("security", [{}]):
        yield from OF_ACCOUNTS
    if "requestBody" in operation:
        yield from OF_BODIES
        yield from OF_UPLOADS if len(operation["requestBody"]["content"]) > 1 else ()
    elif any(each["in"] == "query" for each in operation.get("parameters", ())):
        yield "invalid"


def _example(kind: str) -> dict[str, Any]:
    """A problem of this kind, as it is answered."""
    of = KINDS[kind]
    findings = [_RESOLUTION, _LIMIT] if kind == "invalid" else []
    document = {
        "type": f"/problems/{kind}",
        "title": str(of.title),
        "status": of.status,
        "detail": f"{len(findings)} to correct: see the findings." if findings else str(of.meaning),
        "instance": "/api/v1/rigs",
        "findings": findings,
    }
    return {"summary": str(of.title), "value": document}
