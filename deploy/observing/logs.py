"""Logs: one line of JSON an event, with the ids of the request, the job and the session."""

from __future__ import annotations

from typing import Any

import structlog
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django_structlog import signals
from django_structlog.middlewares import RequestMiddleware


def configure() -> None:
    """Set structlog up; its default would draw tracebacks with the values of all variables."""
    structlog.configure(
        wrapper_class=structlog.make_filtering_bound_logger("info"),
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso"),
            structlog.processors.format_exc_info,
            structlog.processors.JSONRenderer(),
        ],
    )


class RequestLog(RequestMiddleware):
    """One line a request, without its query, and without the address where that is a secret."""

    @classmethod
    def format_request(cls, request: HttpRequest) -> str:
        match = request.resolver_match
        secret = match is not None and "key" in match.kwargs
        return f"{request.method} {match.route if match and secret else request.path}"


@receiver(signals.bind_extra_request_finished_metadata)
@receiver(signals.update_failure_response)
def answer_request_id(response: HttpResponse, **_sent: Any) -> None:
    """Put the request's id into its answer, so that whoever reports trouble can name it."""
    response["X-Request-ID"] = structlog.contextvars.get_contextvars()["request_id"]
