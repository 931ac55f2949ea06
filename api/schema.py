"""What the description of the API (OpenAPI 3.1) says beyond the serializers."""

from __future__ import annotations

from typing import Any

from drf_spectacular.authentication import BasicScheme
from drf_spectacular.extensions import OpenApiSerializerFieldExtension

from api.exceptions import CONTENT_TYPE
from api.serializers import Quantity
from results.intake import CSV

PROBLEM = {
    "type": "object",
    "description": "Problem details (RFC 9457).",
    "required": ["type", "title", "status", "detail", "instance", "findings"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "instance": {"type": "string"},
        "findings": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["row", "field", "found", "expected"],
                "properties": {
                    "row": {"type": "string", "description": "row of a sheet, or place"},
                    "field": {"type": "string"},
                    "found": {"type": "string"},
                    "expected": {"type": "string"},
                },
            },
        },
    },
    "example": {
        "type": "/problems/invalid",
        "title": "Something in this needs correcting",
        "status": 422,
        "detail": "1 to correct: see the findings.",
        "instance": "/api/v1/rigs",
        "findings": [
            {
                "row": "revision",
                "field": "resolution",
                "found": "0.1 stone",
                "expected": "a unit: N, kN, lbf, kgf, gf, ozf",
            }
        ],
    },
}


class QuantitySchema(OpenApiSerializerFieldExtension):
    """A quantity goes in as text and comes out as text and value."""

    target_class = Quantity
    match_subclasses = True

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:  # noqa: ARG002
        if direction == "request":
            example = self.target.example
            within = f"{self.target.bounds} {self.target.symbol}"
            return {"type": "string", "description": f"number and unit, as in {example}; {within}"}
        written = {"written": {"type": "string"}, self.target.symbol: {"type": "number"}}
        return {"type": "object", "properties": written, "required": list(written)}


class NameAndPasswordScheme(BasicScheme):
    """Tokens are got with HTTP Basic authentication."""

    target_class = "api.tokens.NameAndPassword"
    priority = 1


LEFT_OUT = {
    "BridgeDocument": ["what_changed", "why"],
    "CalibrationDocument": ["local_gravity"],
    "PointDocument": ["force_N", "mass", "reading", "residual_N", "u_mass_kg"],
    "ReadingClassDocument": ["forces", "why_not_better"],
    "RevisionDocument": ["what_changed", "why"],
}
"""Members that answers hold for those alone whose they are, and for moderators."""


def leave_out_private(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Say of no answer that it always holds what is not for every reader."""
    for name, members in LEFT_OUT.items():
        document = result["components"]["schemas"][name]
        document["required"] = [each for each in document["required"] if each not in members]
    return result


def require_uploads(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Say of every operation that takes a sheet that it takes no empty body."""
    for operations in result["paths"].values():
        for operation in operations.values():
            body = operation.get("requestBody", {})
            if CSV in body.get("content", {}):
                body["required"] = True
    return result


def add_problems(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Say of every operation that whatever else it answers is a problem."""
    result["components"].setdefault("schemas", {})["Problem"] = PROBLEM
    refusal = {
        "description": "A problem; /problems/… explains its type.",
        "content": {CONTENT_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    for operations in result["paths"].values():
        for operation in operations.values():
            operation["responses"]["default"] = refusal
    return result
