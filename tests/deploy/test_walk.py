"""The way from an upload to its pooled figure is as DEVELOPERS.md says."""

import re
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
STEP = re.compile(r"^\| \d+ \| (.+?) \| ", re.MULTILINE)


def test_every_step_of_the_walk_is_there_by_its_name():
    text = (ROOT / "DEVELOPERS.md").read_text()
    walk = text.split("### From an upload to the pooled figure")[1].split("\n### ")[0]
    steps = STEP.findall(walk)
    assert 10 <= len(steps) <= 15
    for name in re.findall(r"`([\w.]+)`", " ".join(steps)):
        module, _, function = name.rpartition(".")
        assert hasattr(import_module(module), function), name
