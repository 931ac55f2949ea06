"""Examples of uploads for the schema; the same session as a document and as a sheet."""

from __future__ import annotations

from typing import Any

import msgspec
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample

from results.intake import CSV, JSON, XLSX
from results.intake.document import CodedSetDocument, PullSetDocument, SessionDocument

DOCUMENT = {
    "rig": "garage winch",
    "revision": 1,
    "pulled_on": "2026-01-10",
    "state": "dry",
    "unit": "lbf",
    "baselines": [
        {
            "line": "veyra-mono-35",
            "spool": "A",
            "pulls": [
                {"reading": 20.1, "failure_mode": "line"},
                {"reading": 19.4, "failure_mode": "line"},
                {"reading": 20.3, "failure_mode": "line"},
                {"reading": 18.2, "failure_mode": "grip"},
            ],
        }
    ],
    "pull_sets": [
        {
            "label": "set 1",
            "connection": "Double uni",
            "main": {"line": "veyra-mono-35", "spool": "A"},
            "leader": {"line": "veyra-mono-60", "spool": "A"},
            "parameters": {"turns_main": 6, "turns_leader": 4},
            "discarded_ties": 1,
            "pulls": [
                {
                    "failure_mode": "join",
                    "trace": {
                        "unit": "lbf",
                        "time_s": [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5],
                        "force": [0, 0, 0, 3.6, 7.4, 11.1, 14.8, 0, 0, 0],
                    },
                },
                {"reading": 15.6, "failure_mode": "join"},
                {"reading": "13,2", "failure_mode": "slip", "place": "leader"},
                {"failure_mode": "void", "note": "grip slipped, reading lost"},
            ],
        }
    ],
}
SHEET = """\
rig,revision,date,state,kind,label,connection,main line,leader line,reading (lbf),failure mode
garage winch,1,2026-01-10,dry,straight,,,veyra-mono-35,,20.1,line
,,,,straight,,,veyra-mono-35,,19.4,line
,,,,straight,,,veyra-mono-35,,20.3,line
,,,,joined,set 1,Double uni,veyra-mono-35,veyra-mono-60,14.8,join
,,,,joined,set 1,,,,15.6,join
,,,,joined,set 1,,,,,void
"""


UPLOADED = "Uploaded"
"""Before the name of a part of an upload, whose document of that name is what is answered."""


def _schemas() -> tuple[dict[str, Any], dict[str, Any]]:
    """JSON Schema of the document form and of its parts, made from the structs that check it.

    Their patterns are Python's and no other language's, so the document leaves them out; and
    their titles, by which generators of clients would take them for the documents of answers.
    """
    (form, _, coded), parts = msgspec.json.schema_components(
        [SessionDocument, PullSetDocument, CodedSetDocument],
        ref_template=f"#/components/schemas/{UPLOADED}{{name}}",
    )
    sets = parts["SessionDocument"]["properties"]["pull_sets"]
    sets["items"] = {"anyOf": [sets["items"], coded]}
    return form, {UPLOADED + name: _portable(part) for name, part in parts.items()}


def _portable(node: Any) -> Any:
    if isinstance(node, list):
        return [_portable(each) for each in node]
    if isinstance(node, dict):
        return {
            name: _portable(each) for name, each in node.items() if name not in ("pattern", "title")
        }
    return node


_FORM, UPLOAD_SCHEMAS = _schemas()
"""The schemas that ``UPLOAD_REQUEST`` refers to, by name."""
UPLOAD_REQUEST = {JSON: _FORM, CSV: OpenApiTypes.BINARY, XLSX: OpenApiTypes.BINARY}
OF_A_ROUND = DOCUMENT | {
    "pull_sets": [
        {
            "sample": "K7MQ-3XWD",
            "pulls": [
                {"reading": 15.1, "failure_mode": "join"},
                {"reading": 14.6, "failure_mode": "join"},
                {"reading": 15.9, "failure_mode": "line", "place": "main"},
            ],
        }
    ]
}
UPLOADS = [
    OpenApiExample("A session as a document", DOCUMENT, request_only=True, media_type=JSON),
    OpenApiExample("The same as a sheet", SHEET, request_only=True, media_type=CSV),
    OpenApiExample("Of a club's round, by code", OF_A_ROUND, request_only=True, media_type=JSON),
]
