"""Outside values for the statistics; each file names its source."""

import json
from pathlib import Path

import pytest

DATA = Path(__file__).parents[1] / "data/statistics"


@pytest.fixture(scope="session")
def reference():
    """Read one file of outside values by name."""
    return lambda name: json.loads((DATA / f"{name}.json").read_text())
