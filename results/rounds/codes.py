"""Blind codes and entry codes: drawn at random, and made to be read aloud and typed."""

from __future__ import annotations

import secrets

from django.utils.translation import gettext

from results.intake.blind_codes import ALPHABET, LENGTH, is_code, understood
from rigs.refusals import Finding, Invalid


def new_code() -> str:
    """A code that no one can guess."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


def readable(code: str) -> str:
    """A code in two halves, as it is printed and read aloud."""
    return f"{code[: LENGTH // 2]}-{code[LENGTH // 2 :]}"


def as_code(written: str, member: str) -> str:
    """The same. Raises Invalid where it can be no code."""
    code = understood(written)
    if is_code(code):
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
