"""The sorts of problem the API answers with, and a page for each of them."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise


@dataclass(frozen=True)
class Kind:
    """One problem type: its status, title and explanation."""

    status: int
    title: StrOrPromise
    meaning: StrOrPromise


KINDS: dict[str, Kind] = {
    "unreadable": Kind(
        400,
        gettext_lazy("This can't be read"),
        gettext_lazy(
            "The body is not the form that its Content-Type says, or it holds "
            "characters that can't be stored. Nothing was stored."
        ),
    ),
    "bad-request": Kind(
        400,
        gettext_lazy("This can't be understood"),
        gettext_lazy("The request itself is malformed."),
    ),
    "not-signed-in": Kind(
        401,
        gettext_lazy("Sign in first"),
        gettext_lazy(
            "Reading is open; writing needs a token. Get one by POST to /api/v1/tokens with HTTP "
            "Basic authentication and send it as 'Authorization: Token ...'."
        ),
    ),
    "forbidden": Kind(
        403,
        gettext_lazy("You are not allowed to do this"),
        gettext_lazy("It is someone else's, or your role does not allow it."),
    ),
    "account-suspended": Kind(
        403,
        gettext_lazy("This account is suspended"),
        gettext_lazy(
            "A moderator has suspended the account: it can read, answer and "
            "withdraw, and its uploads are refused. The detail has the moderator's "
            "reason. Nothing was stored."
        ),
    ),
    "not-found": Kind(
        404,
        gettext_lazy("Not found"),
        gettext_lazy("Nothing is at this address, or nothing that you may see."),
    ),
    "not-allowed": Kind(
        405,
        gettext_lazy("Not possible here"),
        gettext_lazy("This address does not take this method; 'Allow' lists its own."),
    ),
    "not-acceptable": Kind(
        406,
        gettext_lazy("No such form"),
        gettext_lazy("The answer can't be given in the form that 'Accept' asks for."),
    ),
    "conflict": Kind(
        409,
        gettext_lazy("This collides with what is already stored"),
        gettext_lazy(
            "What you sent is already there, or a name is taken. The detail points "
            "to the first one."
        ),
    ),
    "account-closed": Kind(
        409,
        gettext_lazy("This account is closed"),
        gettext_lazy(
            "The account was closed, perhaps while this was under way. Nothing was stored."
        ),
    ),
    "too-large": Kind(
        413,
        gettext_lazy("This is more than can be taken at once"),
        gettext_lazy("Send it in smaller parts."),
    ),
    "unsupported-media-type": Kind(
        415,
        gettext_lazy("This form is not taken"),
        gettext_lazy("The detail and the documentation list the forms taken here."),
    ),
    "invalid": Kind(
        422,
        gettext_lazy("Something in this needs correcting"),
        gettext_lazy(
            "It can be read, and something in it is wrong. 'findings' lists every "
            "mistake: the row of the sheet or the place in the document, the field, "
            "what was found and what was expected. Nothing was stored."
        ),
    ),
    "too-many-requests": Kind(
        429,
        gettext_lazy("Too many requests"),
        gettext_lazy("Wait for as many seconds as 'Retry-After' says."),
    ),
    "unavailable": Kind(
        503,
        gettext_lazy("Temporarily unavailable"),
        gettext_lazy(
            "The database does not answer: it is being restarted, or its disk is "
            "full. Try again after as many seconds as 'Retry-After' says. An upload "
            "that was not answered 202 may be sent again with the same "
            "Idempotency-Key; it is stored once."
        ),
    ),
    "unexpected": Kind(
        500,
        gettext_lazy("Something went wrong"),
        gettext_lazy(
            "This is our fault, not yours. Try again later; if it persists, tell the "
            "operators when."
        ),
    ),
    "job-failed": Kind(
        500,
        gettext_lazy("This session could not be processed"),
        gettext_lazy(
            "The session is stored as it was sent; computing its efficiencies "
            "failed every time it was tried. The operators see it, and it can be "
            "tried again."
        ),
    ),
}

_BY_STATUS = {
    kind.status: name
    for name, kind in KINDS.items()
    if name not in ("unreadable", "account-closed", "account-suspended", "job-failed")
}


def kind_of_status(status: int) -> str:
    """The kind for a bare status code; 4xx without one of its own is a bad request."""
    return _BY_STATUS.get(status, "bad-request" if status < 500 else "unexpected")


@require_safe
def explain(request: HttpRequest, kind: str) -> HttpResponse:
    """The page that the ``type`` of a problem points to."""
    if kind not in KINDS:
        raise Http404
    phrase = HTTPStatus(KINDS[kind].status).phrase
    return render(request, "pages/problem.html", {"kind": KINDS[kind], "phrase": phrase})
