"""Refusals as data: what was wrong, where, and what was expected instead.

They are raised where the knowledge is, and turned into HTTP in one place (``api.exceptions``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext, gettext_lazy


@dataclass(frozen=True)
class Finding:
    """One thing wrong with what was sent.

    ``row`` is the row of a sheet (the header is row 1) or the place in a document such as
    ``pull_sets[0].pulls[3]``; it is empty where the whole is meant. ``field`` is the column or
    the member, ``found`` what stood there and ``expected`` what should have.
    """

    row: str
    field: str
    found: str
    expected: str

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.row, self.field) if part)
        return gettext("%(place)s: found %(found)s, expected %(expected)s") % {
            "place": place,
            "found": self.found,
            "expected": self.expected,
        }


class Refused(Exception):
    """The request can't be fulfilled; nothing was stored. ``kind`` names the type of refusal."""

    kind = "refused"
    title = gettext_lazy("This can't be done")

    def __init__(self, detail: str, findings: Sequence[Finding] = ()) -> None:
        super().__init__(detail)
        self.detail = detail
        self.findings = tuple(findings)


class Unreadable(Refused):
    """The bytes are not the form they claim to be."""

    kind = "unreadable"
    title = gettext_lazy("This can't be read")


class Invalid(Refused):
    """It can be read, and something in it is wrong."""

    kind = "invalid"
    title = gettext_lazy("Something in this needs correcting")


class Forbidden(Refused):
    """It is someone else's, or the role does not allow it."""

    kind = "forbidden"
    title = gettext_lazy("You are not allowed to do this")


class AccountSuspended(Forbidden):
    """A moderator has suspended the account; its uploads are refused."""

    kind = "account-suspended"
    title = gettext_lazy("This account is suspended")

    def __init__(self, reason: str) -> None:
        super().__init__(
            gettext(
                "A moderator has suspended this account, so nothing can be uploaded for "
                "it. %(reason)s"
            )
            % {"reason": reason}
        )


class TooMany(Refused):
    """Too many requests; retry after ``retry_after_s`` seconds."""

    kind = "too-many-requests"
    title = gettext_lazy("Too many requests")

    def __init__(self, retry_after_s: int) -> None:
        super().__init__(
            gettext("That is often enough for now: try again in %(retry_after_s)s s.")
            % {"retry_after_s": retry_after_s}
        )
        self.retry_after_s = retry_after_s


class Conflict(Refused):
    """It collides with what is already there."""

    kind = "conflict"
    title = gettext_lazy("This collides with what is already stored")


class AccountClosed(Conflict):
    """The account was closed; nothing is stored for it any more."""

    kind = "account-closed"
    title = gettext_lazy("This account is closed")

    def __init__(self) -> None:
        super().__init__(gettext("This account has been closed, so nothing more is stored for it."))


class TooLarge(Refused):
    """It is larger than the service takes in one piece."""

    kind = "too-large"
    title = gettext_lazy("This is more than can be taken at once")
