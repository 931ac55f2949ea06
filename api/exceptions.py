"""Every refusal of the API in one shape: problem details (RFC 9457), ``application/problem+json``.

``findings`` is this service's extension member: one entry for each thing wrong, as
``rigs.refusals.Finding`` has it. ``wait_at`` is another: where an upload names nothing wrong but
what the catalogue lacks, the same can be sent there to propose it and wait.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.core.signals import got_request_exception
from django.db import Error, IntegrityError, InterfaceError, OperationalError
from django.http import Http404, UnreadablePostError
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy, ngettext
from rest_framework import exceptions
from rest_framework.permissions import SAFE_METHODS
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.views import APIView, exception_handler, set_rollback

from api.problem_kinds import KINDS, kind_of_status
from results.intake import LacksEntries
from results.jobs.database_errors import DatabaseFault, database_fault
from rigs.refusals import Conflict, Finding, Refused, TooMany
from rigs.uniqueness import TAKEN, is_unique_violation

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

CONTENT_TYPE = "application/problem+json"
LONGEST_FOUND = 200
RETRY_AFTER_S = 5
DATABASE_AWAY = gettext_lazy(
    "The database does not answer just now. Send the same again, with the same Idempotency-Key "
    "where you sent one."
)

READ_ONLY = gettext_lazy(
    "The service can be read and not written to just now. Send the same again later, with the same "
    "Idempotency-Key where you sent one; nothing of it was stored."
)

_BY_DJANGO: tuple[tuple[type[Exception], str, StrOrPromise], ...] = (
    (Http404, "not-found", gettext_lazy("There is nothing at this address that you may see.")),
    (PermissionDenied, "forbidden", gettext_lazy("This account may not do this.")),
    (RequestDataTooBig, "too-large", gettext_lazy("The body is larger than is taken at once.")),
    (SuspiciousOperation, "bad-request", gettext_lazy("The request is malformed.")),
    (UnreadablePostError, "bad-request", gettext_lazy("The request ended before it was complete.")),
    (OperationalError, "unavailable", DATABASE_AWAY),
    (InterfaceError, "unavailable", DATABASE_AWAY),
)

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Problem:
    """A problem before it is bound to the request that met it."""

    kind: str
    status: int
    title: StrOrPromise
    detail: StrOrPromise
    findings: tuple[Finding, ...] = ()
    wait_at: str = ""

    @property
    def retry_after_s(self) -> int | None:
        return RETRY_AFTER_S if self.status == 503 else None

    def document(self, instance: str) -> dict[str, Any]:
        """The members of RFC 9457, section 3.1, and the findings."""
        document = {
            "type": reverse("problem", args=[self.kind]),
            "title": str(self.title),
            "status": self.status,
            "detail": str(self.detail),
            "instance": instance,
            "findings": [asdict(finding) for finding in self.findings],
        }
        return document | ({"wait_at": self.wait_at} if self.wait_at else {})


def problem_response(error: Exception, context: dict[str, Any]) -> Response:
    """What the API answers when a view raised ``error``."""
    request = context["request"]
    # DRF's own handler knows which headers belong to which refusal: WWW-Authenticate, Retry-After.
    known = exception_handler(error, context)
    headers = {
        name: value
        for name, value in (known.headers.items() if known is not None else ())
        if name.lower() != "content-type"
    }
    sent = _sent(request) if isinstance(error, exceptions.ValidationError) else None
    problem = problem_of(error, sent)
    if isinstance(error, TooMany):
        headers["Retry-After"] = str(error.retry_after_s)
    if problem.retry_after_s:
        headers["Retry-After"] = str(problem.retry_after_s)
    if problem.status >= 500:
        logger.error("answered %d: %s", problem.status, type(error).__name__, exc_info=error)
        got_request_exception.send(sender=type(context["view"]), request=request)
    set_rollback()
    # A problem is JSON also where a list was asked for as CSV.
    request.accepted_renderer, request.accepted_media_type = JSONRenderer(), CONTENT_TYPE
    return Response(
        problem.document(request.path), problem.status, headers=headers, content_type=CONTENT_TYPE
    )


def _wait_at(error: LacksEntries) -> str:
    query = urlencode(error.as_correction)
    return reverse("api:waiting-sessions") + (f"?{query}" if query else "")


def problem_of(error: Exception, sent: object = None) -> Problem:
    """The problem behind any exception; ``sent`` is the document that an invalid one is about.

    Two that store the same at one instant meet at a unique constraint: the later is a conflict. A
    database that is unreachable, full, locked or read-only is status 503; an unexpected error
    becomes status 500. Neither says anything of the inside.
    """
    if isinstance(error, IntegrityError) and is_unique_violation(error):
        error = Conflict(str(TAKEN))
    if isinstance(error, Refused):
        status = KINDS[error.kind].status if error.kind in KINDS else 422
        wait_at = _wait_at(error) if isinstance(error, LacksEntries) else ""
        return Problem(error.kind, status, error.title, error.detail, error.findings, wait_at)
    if isinstance(error, exceptions.ValidationError):
        findings = tuple(_findings(error.detail, sent))
        return _problem("invalid", _to_correct(len(findings)), findings)
    if isinstance(error, exceptions.ParseError):
        return _problem("unreadable", str(error.detail))
    if isinstance(error, exceptions.APIException):
        return _problem(kind_of_status(error.status_code), str(error.detail))
    return _problem(*_foreseen(error))


def _foreseen(error: Exception) -> tuple[str, StrOrPromise]:
    """The kind and the words of what Django or the database raised."""
    if isinstance(error, Error) and (trouble := database_fault(error)):
        return "unavailable", READ_ONLY if trouble is DatabaseFault.READ_ONLY else DATABASE_AWAY
    for foreseen, kind, detail in _BY_DJANGO:
        if isinstance(error, foreseen):
            return kind, detail
    return "unexpected", gettext("This is our fault, not yours, and the error has been logged.")


def _problem(kind: str, detail: StrOrPromise, findings: tuple[Finding, ...] = ()) -> Problem:
    return Problem(kind, KINDS[kind].status, KINDS[kind].title, detail, findings)


def _to_correct(number: int) -> str:
    return ngettext(
        "%(number)d to correct: see the findings.",
        "%(number)d to correct: see the findings.",
        number,
    ) % {"number": number}


def _sent(request: Any) -> object:
    if request.method in SAFE_METHODS:
        return request.query_params
    try:
        return request.data
    except exceptions.APIException:
        return None


def _findings(detail: Any, sent: object, row: str = "", field: str = "") -> Iterator[Finding]:
    """Walk the nested errors of a serializer beside the document they are about."""
    if isinstance(detail, str):
        yield Finding(row=row, field=field, found=_found(sent), expected=detail)
        return
    named = detail.items() if isinstance(detail, Mapping) else enumerate(detail)
    for name, errors in named:
        if isinstance(errors, str) or name == "non_field_errors":
            yield from _findings(errors, sent, row, field)
            continue
        outer = ".".join(part for part in (row, field) if part)
        place = (f"{outer}[{name}]", "") if isinstance(name, int) else (outer, str(name))
        yield from _findings(errors, _member(sent, name), *place)


def _member(sent: Any, name: str | int) -> object:
    try:
        return sent[name]
    except (KeyError, IndexError, TypeError):
        return None


def _found(sent: object) -> str:
    if sent is None:
        return gettext("nothing")
    text = sent if isinstance(sent, str) else repr(sent)
    return text if len(text) <= LONGEST_FOUND else text[:LONGEST_FOUND] + "…"


class Nothing(APIView):
    """Every address that isn't one, so that it too is answered by a problem."""

    authentication_classes: list[Any] = []
    permission_classes: list[Any] = []
    schema = None

    def initial(self, *_args: Any, **_kwargs: Any) -> None:
        raise Http404
