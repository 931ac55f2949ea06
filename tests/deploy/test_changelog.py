"""What pools say moves only where the changelog tells it to those who read them."""

import re
from pathlib import Path

from django.conf import settings

from results.pools.snapshots import FORMULAE, MOVED


def test_the_release_of_the_formulae_stands_under_figures():
    """``formulae 2`` in a paragraph that begins with **figures**; the first needs no word."""
    text = (Path(settings.BASE_DIR) / "CHANGELOG.md").read_text()
    answer = [line for line in text.splitlines() if "**figures**" in line]
    missing = [
        number
        for number in range(2, FORMULAE + 1)
        if not any(re.search(rf"\bformulae {number}\b", line, re.IGNORECASE) for line in answer)
    ]
    assert missing == []


def test_each_release_of_the_formulae_says_what_it_moved_and_why():
    every = [moved for of_release in MOVED.values() for moved in of_release]
    assert all(moved.why and moved.figures and moved.by > 1e-12 for moved in every)
