"""No file names a maker of line or tackle."""

import hashlib
import json
import re
import subprocess
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MAKERS = frozenset(json.loads((ROOT / "tests/data/makers.json").read_text())["words"])
LETTERS = re.compile(r"[^\W\d_]+")
HUMP = re.compile(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])")


def digits_of(word: str) -> str:
    return hashlib.sha256(word.lower().encode()).hexdigest()[:16]


def words_of(text: str) -> set[str]:
    """Its words in lower case, and the parts of names like thisOne and its neighbours in pairs."""
    words = LETTERS.findall(text)
    pairs = (first + second for first, second in pairwise(words))
    humps = (part for word in words for part in HUMP.findall(word))
    return {word.lower() for found in (words, pairs, humps) for word in found}


def makers_in(text: str, makers: frozenset[str] = MAKERS) -> set[str]:
    return {word for word in words_of(text) if digits_of(word) in makers}


def tracked() -> Iterator[tuple[str, str]]:
    """The name and the text of every file that git keeps; the text is empty for a picture."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    for name in filter(None, listed.stdout.split("\0")):
        if (ROOT / name).is_file():
            yield name, (ROOT / name).read_text(encoding="utf-8", errors="ignore")


def test_no_file_names_a_maker():
    files = list(tracked())
    assert len(files) > 500
    named = {name: found for name, text in files if (found := makers_in(f"{name}\n{text}"))}
    assert named == {}


def test_a_maker_is_found_however_the_name_is_written():
    makers = frozenset({digits_of("veyrabrand")})
    for written in ("Veyrabrand", "a veyra brand line", "theVeyrabrandSpool", "VEYRA-BRAND, 0.35"):
        assert makers_in(written, makers), written
    assert not makers_in("a brand of veyra", makers)
