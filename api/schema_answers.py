"""An example of each answer in the OpenAPI document, as a service recorded it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

RECORDED = Path(__file__).with_name("answers.json")
"""By operation and status; `python -m deploy.demo.answers` writes it."""
BINARY = ("application/zip", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
"""Forms of which a document can show nothing."""


def show_answers(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Put the recorded answers beside the schemas that they are of."""
    recorded = json.loads(RECORDED.read_text()) if RECORDED.exists() else {}
    for operations in result["paths"].values():
        for operation in operations.values():
            for status, value in recorded.get(operation["operationId"], {}).items():
                for form, content in operation["responses"][status].get("content", {}).items():
                    if (form == "text/csv") == isinstance(value, str) and form not in BINARY:
                        content["examples"] = {"recorded": {"value": value}}
    return result
