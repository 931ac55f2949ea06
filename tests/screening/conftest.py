"""Outside values: tests/data/screening holds published data and results, each with its source."""

import json
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent.parent / "data"


@pytest.fixture(scope="session")
def worked():
    """Worked examples of integrity checks (USEPA 2009, NIST/SEMATECH, papers named in the file)."""
    return json.loads((FOLDER / "screening" / "integrity-checks-worked.json").read_text())
