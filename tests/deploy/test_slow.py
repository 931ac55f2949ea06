"""The list of slow tests names what is there."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_every_slow_folder_or_file_is_there():
    names = (ROOT / "tests/slow.txt").read_text().split()
    assert [name for name in names if not (ROOT / name).exists()] == []
    assert names == list(dict.fromkeys(names))
