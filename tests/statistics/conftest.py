"""Outside values for the statistics; each file names its source."""

import json
from pathlib import Path

import pytest

DATA = Path(__file__).parents[1] / "data/statistics"


@pytest.fixture(scope="session")
def reference():
    """Read one file of outside values by name."""
    return lambda name: json.loads((DATA / f"{name}.json").read_text())


@pytest.fixture(scope="session")
def pooling_reference():
    """The same for the pool: figures of R's metafor 3.8.1 and clubSandwich 0.5.8."""
    folder = DATA.parent / "pooling"
    return lambda name: json.loads((folder / f"{name}.json").read_text())
