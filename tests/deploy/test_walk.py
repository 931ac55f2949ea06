"""What DEVELOPERS.md and other documents name is there: functions of the walk, files, folders."""

import re
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NAMED = re.compile(r"`((?:api|deploy|results|rigs|tests)/[\w./-]*)`")
STEP = re.compile(r"^\| \d+ \| (.+?) \| ", re.MULTILINE)
MADE_BY_READERS = {"deploy/.env", "deploy/locale/LANGUAGE/LC_MESSAGES/django.po"}
"""Files that a document has its reader make."""


def test_every_step_of_the_walk_is_there_by_its_name():
    text = (ROOT / "DEVELOPERS.md").read_text()
    walk = text.split("### From an upload to the pooled figure")[1].split("\n### ")[0]
    steps = STEP.findall(walk)
    assert 10 <= len(steps) <= 15
    for name in re.findall(r"`([\w.]+)`", " ".join(steps)):
        module, _, function = name.rpartition(".")
        assert hasattr(import_module(module), function), name


def test_every_file_that_a_document_names_is_there():
    documents = [path for path in ROOT.rglob("*.md") if ".venv" not in path.parts]
    named = {
        (str(path.relative_to(ROOT)), name)
        for path in documents
        if path.name != "CHANGELOG.md"
        for name in NAMED.findall(path.read_text())
    }
    assert len(named) > 50
    missing = [
        (document, name)
        for document, name in sorted(named)
        if name not in MADE_BY_READERS and not (ROOT / name).exists()
    ]
    assert missing == []
