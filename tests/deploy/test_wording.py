"""The words of code and documents are those of the trade and of idiomatic English.

Each private word that was found and replaced is refused from then on; DEVELOPERS.md's glossary
has the terms. A name that clients or stored rows read keeps its word, as a listed exception.
"""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PRODUCT = ("api", "deploy", "results", "rigs")
DOCUMENTS = ("README.md", "DEVELOPERS.md", "SECURITY.md", ".github")
SUFFIXES = {"", ".c", ".css", ".html", ".js", ".md", ".py", ".service", ".toml", ".txt", ".yml"}
KEPT = ("/migrations/", "/locale/")
"""Folders whose files are history, or made from the others."""

BETTER = {
    r"told": "shown, recorded, given, expected; or the name of what it is",
    r"whom": "who, or the person's role",
    r"whoever": "the person's or process's role",
    r"nobody": "no one, or the role: no moderator, no client",
    r"anew": "again",
    r"(be |is |are |been )let be": "give up",
    r"(came|come|comes|gone|goes) about": "happened, caused",
    r"time after time": "at each attempt",
    r"(is|are) to be (said|told|done|asked|above|below|worked out|mended)": "must be, should be",
    r"sends for|sent for": "send a message, resend",
    r"waking|woken(?!_at)": "notify, message, resend",
    r"(broke|breaks|broken)[ _]off": "failed, interrupted",
    r"mend(s|ed|ing)?": "fix, repair",
    r"(is|are|was|were) gone (over|about)": "checked",
    r"how the (service|work) stands": "operational status, backlog",
    r"drawn anew|tried anew": "drawn again, retried",
    r"kept_until_changed": "cache_by_edition",
    r"leave_when_told": "exit_on_sigterm",
    r"count_from_now": "clamp_future_times",
}
REFUSED = {re.compile(rf"(?<![a-z]){word}(?![a-z])", re.IGNORECASE): word for word in BETTER}

MODERATORS_ARE_PEOPLE = re.compile(r"moderat\w*", re.IGNORECASE)

EXCEPTIONS = {
    # Members and values of v1, and columns and keys of stored rows.
    ("DEVELOPERS.md", "`told` in the API"),
    ("api/comparisons.py", "told = serializers.FloatField("),
    ("api/deprecation.py", "Document.told"),
    ("api/rig_charts.py", "told = EquivalenceDocument("),
    ("results/models/declared/findings.py", '_finding("told"'),
    ("results/models/declared/methods.py", '"findings.told"'),
    ("results/models/sessions.py", '"baseline_is_told_once_a_position"'),
    ("results/pools/descriptives.py", '"told": {"time_to_tie"'),
    ("results/pages/templates/pages/pools/pool.html", "findings.told."),
    # Sentences stored with figures, which a recomputation compares.
    ("results/normalising/borrowed_baselines.py", "a spool that was not told"),
    ("results/pools/covariates.py", 'f"told of {recorded.sum()} of'),
    ("results/pools/join_contrasts.py", "whose scatter can be told"),
    # Help texts in migrations, which only another migration would change.
    ("results/models/connections.py", "empty where nobody has said"),
    # The text of an API document, which the last release's is compared with.
    ("api/budgets.py", "why the load of this rig can't be told"),
}
"""By file and part of the line."""


def texts() -> list[tuple[str, str]]:
    """Every file of the product and the documents by its path, but for what is kept as it was."""
    listed = subprocess.run(
        ["git", "ls-files", *PRODUCT, *DOCUMENTS],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    paths = [Path(path) for path in listed.stdout.splitlines()]
    return [
        (str(path), (ROOT / path).read_text(encoding="utf-8"))
        for path in paths
        if path.suffix in SUFFIXES and not any(part in f"/{path}" for part in KEPT)
    ]


def found_in(path: str, text: str) -> list[str]:
    """The refused words of a text, each with its line and the better word."""
    return [
        f"{path}:{number}: {match.group(0)!r}: {BETTER[word]}"
        for number, line in enumerate(text.splitlines(), start=1)
        if not any(path == file and part in line for file, part in EXCEPTIONS)
        for pattern, word in REFUSED.items()
        for match in pattern.finditer(line)
    ]


@pytest.mark.parametrize(
    "sentence",
    [
        "whom the sweeper sends for again",
        "fail what never came about",
        "def leave_when_told():",
        "recompute it anew",
        "_nobody_is_counted_yet",
        "how the service stands",
        "working it out broke off",
    ],
)
def test_a_private_word_is_found_in_sentences_and_names(sentence):
    assert found_in("any.py", sentence)


def test_code_and_documents_use_no_private_word():
    assert [found for path, text in texts() for found in found_in(path, text)] == []


def test_moderators_are_people_and_never_covariates():
    statistics = [(path, text) for path, text in texts() if path.startswith("results/statistics/")]
    assert statistics
    assert [path for path, text in statistics if path.endswith(".py") and names_one(text)] == []


def names_one(text: str) -> bool:
    return MODERATORS_ARE_PEOPLE.search(text) is not None


def test_every_exception_names_a_line_there_is():
    by_path = dict(texts())
    assert [each for each in EXCEPTIONS if each[1] not in by_path.get(each[0], "")] == []


BARE = re.compile(r"""gettext\(\s*"[^"%]*can't be right[^"%]*"\s*\)""")
"""A refusal that says that a thing is wrong, and not what of it."""


def test_a_refusal_says_in_its_first_sentence_what_is_wrong():
    found = [
        f"{path.relative_to(ROOT)}: {bare.group()}"
        for part in ("api", "results", "rigs")
        for path in sorted((ROOT / part).rglob("*.py"))
        for bare in BARE.finditer(path.read_text(encoding="utf-8"))
    ]
    assert found == []
