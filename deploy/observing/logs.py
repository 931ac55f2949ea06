"""Logs: one line of JSON per event, with the ids of the request, the job and the session."""

from __future__ import annotations

import logging.config
from typing import Any

import structlog
from celery.signals import setup_logging
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django_structlog import signals
from django_structlog.celery.signals import (
    bind_extra_task_metadata,
    modify_context_before_task_publish,
)
from django_structlog.middlewares import RequestMiddleware

WITH_IDS: list[Any] = [
    structlog.contextvars.merge_contextvars,
    structlog.processors.add_log_level,
    structlog.processors.TimeStamper(fmt="iso"),
    structlog.processors.format_exc_info,
]

SUBJECTS = {
    "results.tasks.run_job": "job",
    "results.tasks.refresh_pool": "pool",
    "results.tasks.complete_pool": "pool",
    "results.tasks.make_release": "release",
}
"""What the argument of each task is the id of."""

LIBRARIES: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "()": structlog.stdlib.ProcessorFormatter,
            "foreign_pre_chain": [*WITH_IDS, structlog.stdlib.add_logger_name],
            "processors": [
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.JSONRenderer(),
            ],
        }
    },
    "handlers": {
        "lines": {"class": "logging.StreamHandler", "formatter": "line"},
        # Without any handler, Python itself would print what does not propagate.
        "nowhere": {"class": "logging.NullHandler"},
    },
    "root": {"handlers": ["lines"], "level": "WARNING"},
    "loggers": {
        # RequestLog logs the same without secret addresses.
        "django.request": {"handlers": ["nowhere"], "propagate": False},
        "django.security.csrf": {"handlers": ["nowhere"], "propagate": False},
        # Celery's process pool propagates nothing.
        "multiprocessing": {"handlers": ["lines"], "propagate": False},
        # They repeat the lines of tasks.
        "celery.worker.strategy": {"level": "WARNING"},
        "celery.app.trace": {"level": "WARNING"},
    },
}
"""Log lines of libraries, by the standard library's logging, in the same format."""


def configure() -> None:
    """Set up structlog; its default prints tracebacks with the values of all variables."""
    structlog.configure(
        wrapper_class=structlog.make_filtering_bound_logger("info"),
        processors=[*WITH_IDS, structlog.processors.JSONRenderer()],
    )


@setup_logging.connect
def configure_worker(loglevel: int, **_sent: Any) -> None:
    """Replace Celery's own log set-up, keeping its level."""
    logging.config.dictConfig(LIBRARIES)
    logging.getLogger("celery").setLevel(loglevel)


@receiver(bind_extra_task_metadata)
def name_task(task: Any, **_sent: Any) -> None:
    """Bind the task's name and the id of its subject to every log line."""
    structlog.contextvars.bind_contextvars(task=task.name)
    subject, arguments = SUBJECTS.get(task.name), task.request.args
    if subject and arguments:
        structlog.contextvars.bind_contextvars(**{subject: arguments[0]})


@receiver(modify_context_before_task_publish)
def keep_request_ids_only(context: dict[str, Any], **_sent: Any) -> None:
    """Drop other ids: a message's sender may be working on another job or pool than it."""
    for name in set(context) - {"request_id", "parent_task_id"}:
        del context[name]


class RequestLog(RequestMiddleware):
    """One line per request, without its query, and without the address if that is secret."""

    @classmethod
    def format_request(cls, request: HttpRequest) -> str:
        match = request.resolver_match
        secret = match is not None and "key" in match.kwargs
        return f"{request.method} {match.route if match and secret else request.path}"


@receiver(signals.bind_extra_request_finished_metadata)
@receiver(signals.update_failure_response)
def answer_request_id(response: HttpResponse, **_sent: Any) -> None:
    """Put the request's id into the response, so that it can be quoted in a problem report."""

    response["X-Request-ID"] = structlog.contextvars.get_contextvars()["request_id"]
