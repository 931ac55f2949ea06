"""The version of the code: part of every ETag, so that none matches after an upgrade."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CODE = ("api", "deploy", "results", "rigs")
MADE_BY = ("pyproject.toml", "requirements.lock")
"""The package's number, and the libraries that draw, render and compute."""
PASSED_OVER = {".pyc", ".pyo"}


@cache
def release() -> str:
    """Short digest of all code, templates and libraries; taken once a process.

    The package's number alone would not do: what runs between two numbers answers otherwise too.
    """
    return digest_of(ROOT)


def digest_of(root: Path) -> str:
    """Digest of the names and the bytes of every file that an answer may come from."""
    digest = hashlib.sha256()
    files = [found for folder in CODE for found in (root / folder).rglob("*")]
    for found in sorted([*files, *(root / name for name in MADE_BY)]):
        if found.is_file() and found.suffix not in PASSED_OVER:
            digest.update(f"{found.relative_to(root)}\0{found.stat().st_size}\0".encode())
            digest.update(found.read_bytes())
    return digest.hexdigest()[:12]


def tagged(state: object) -> str:
    """A strong ETag of what the state, a mark without quotes, looks like in this release."""
    return f'"{state}-{release()}"'
