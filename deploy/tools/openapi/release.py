"""Keep the API's document at a release: `python -m deploy.tools.openapi.release`.

Later documents are held to it by `tests/deploy/test_openapi.py`, so that v1 never breaks.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import django

from deploy.tools.openapi.breaks import breaks
from deploy.tools.openapi.corrected import newly_said
from deploy.tools.openapi.privacy import kept_private
from deploy.tools.openapi.schemas import Schema

KEPT = Path(__file__).resolve().parents[3] / "tests" / "data" / "openapi-v1.json"


def main() -> int:
    """Write the document, but where it breaks what the last release promised."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    now = document()
    if KEPT.exists() and (broken := broken_since(json.loads(KEPT.read_text()), now)):
        print("Not kept: clients of the last release would break.", *broken, sep="\n")
        return 1
    KEPT.write_text(json.dumps(now, indent=1, sort_keys=True, ensure_ascii=False) + "\n")
    print(f"{len(now['paths'])} addresses kept in {KEPT.name}")
    return 0


def broken_since(old: Schema, new: Schema) -> list[str]:
    """Breaks of the new document, without what was left out for privacy or is only said late."""
    return newly_said(kept_private(breaks(old, new))[1])[1]


def document() -> Schema:
    """The OpenAPI document of the API as it is, in plain values."""
    from drf_spectacular.generators import SchemaGenerator  # noqa: PLC0415 - needs the settings

    made = SchemaGenerator().get_schema(request=None, public=True)
    plain: Schema = json.loads(json.dumps(made, default=str))
    return plain


if __name__ == "__main__":
    sys.exit(main())
