"""A rig's straight line has one control chart, with the rig's own scatter from day to day."""

import ast
from pathlib import Path

RESULTS = Path(__file__).resolve().parents[2] / "results"
CHARTS = {"ewma_chart", "individuals_chart", "watch_straight_line"}


def test_only_the_rig_checks_chart_straight_line():
    charting = {
        path.relative_to(RESULTS).parts[0]
        for path in RESULTS.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ImportFrom) and CHARTS & {alias.name for alias in node.names}
    }
    assert charting == {"rig_checks"}
