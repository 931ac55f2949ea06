"""What the description of the API (OpenAPI 3.1) says beyond the serializers."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from drf_spectacular.authentication import BasicScheme
from drf_spectacular.extensions import OpenApiSerializerFieldExtension

from api.schema_members import OF_PATH
from api.serializers import Quantity
from api.session_examples import UPLOAD_SCHEMAS
from results.intake import CSV


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
    for _path, operation in _operations(result):
        body = operation.get("requestBody", {})
        if CSV in body.get("content", {}):
            body["required"] = True
    return result


def name_uploads(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Put the parts of an uploaded session beside the other components."""
    result["components"]["schemas"].update(UPLOAD_SCHEMAS)
    return result


def summarise(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Give each operation a title: what its description says before the first stop."""
    for _path, operation in _operations(result):
        description = operation["description"]
        operation.setdefault("summary", re.split(r"[.:;?](?:\s|$)", description)[0])
    return result


def name_path_parameters(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Say of each number in a path what it is the number of; the first is ``id`` everywhere."""
    result["paths"] = {
        re.sub(r"{\w+}", "{id}", path, count=1): operations
        for path, operations in result["paths"].items()
    }
    for path, operation in _operations(result):
        in_path = [each for each in operation.get("parameters", ()) if each["in"] == "path"]
        for name, parameter in zip(re.findall(r"{(\w+)}", path), in_path, strict=True):
            collection = path.split("/")[3] if name == "id" else name
            parameter |= {"name": name, "description": OF_PATH[collection]}
    return result


def _operations(result: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, operations in result["paths"].items():
        for operation in operations.values():
            yield path, operation
