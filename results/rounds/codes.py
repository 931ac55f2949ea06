"""Blind codes and entry codes: drawn at random, and made to be read aloud and typed."""

from __future__ import annotations

import secrets

from django.utils.translation import gettext

from rigs.refusals import Finding, Invalid

ALPHABET = "23456789BCDFGHJKLMNPQRSTVWXZ"
"""Without 0, 1, I and O, which are mistaken for each other, without the other vowels, so that no
word happens to appear, and without Y, which is written like V."""
LENGTH = 8
"""28 to the power of 8: a guess meets one of a million codes once in four hundred thousand."""


def new_code() -> str:
    """A code that no one can guess."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


def readable(code: str) -> str:
    """A code in two halves, as it is printed and read aloud."""
    return f"{code[: LENGTH // 2]}-{code[LENGTH // 2 :]}"


def understood(written: str) -> str:
    """The code that somebody typed, in small letters, or with spaces or hyphens."""
    return "".join(letter for letter in written.upper() if letter.isalnum())


def as_code(written: str, member: str) -> str:
    """The same. Raises Invalid where it can be no code."""
    code = understood(written)
    if len(code) == LENGTH and set(code) <= set(ALPHABET):
        return code
    raise Invalid(
        gettext("This is no code of a round."),
        [
            Finding(
                "",
                member,
                gettext("%(letters)d letters and digits") % {"letters": len(code)},
                gettext("eight letters and digits, as in %(example)s; never 0, 1, I or O")
                % {"example": readable("K7MQ3XWD")},
            )
        ],
    )
