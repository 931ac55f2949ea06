"""Blind codes of rounds: how they look, and how people write them."""

from __future__ import annotations

ALPHABET = "23456789BCDFGHJKLMNPQRSTVWXZ"
"""Without 0, 1, I and O, which are mistaken for each other, without the other vowels, so that no
word happens to appear, and without Y, which is written like V."""
LENGTH = 8
"""28 to the power of 8: a guess meets one of a million codes once in four hundred thousand."""


def understood(written: str) -> str:
    """The code that somebody typed, in small letters, or with spaces or hyphens."""
    return "".join(letter for letter in written.upper() if letter.isalnum())


def is_code(code: str) -> bool:
    """Whether an `understood` code can be one."""
    return len(code) == LENGTH and set(code) <= set(ALPHABET)
