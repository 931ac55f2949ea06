"""Logs: one line of JSON an event, with the ids of the request, the job and the session."""

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
        # Without any handler Python itself would print what is not passed on.
        "nowhere": {"class": "logging.NullHandler"},
    },
    "root": {"handlers": ["lines"], "level": "WARNING"},
    "loggers": {
        # RequestLog tells the same without the addresses that are secret.
        "django.request": {"handlers": ["nowhere"], "propagate": False},
        "django.security.csrf": {"handlers": ["nowhere"], "propagate": False},
        # The pool of worker processes passes nothing on.
        "multiprocessing": {"handlers": ["lines"], "propagate": False},
        # The lines of tasks, again.
        "celery.worker.strategy": {"level": "WARNING"},
        "celery.app.trace": {"level": "WARNING"},
    },
}
"""Lines of the libraries, by the standard library's logging, told in the same form."""


def configure() -> None:
    """Set structlog up; its default would draw tracebacks with the values of all variables."""
    structlog.configure(
        wrapper_class=structlog.make_filtering_bound_logger("info"),
        processors=[*WITH_IDS, structlog.processors.JSONRenderer()],
    )


@setup_logging.connect
def configure_worker(loglevel: int, **_sent: Any) -> None:
    """Keep Celery from setting up lines of its own form; its level is taken."""
    logging.config.dictConfig(LIBRARIES)
    logging.getLogger("celery").setLevel(loglevel)


@receiver(bind_extra_task_metadata)
def name_task(task: Any, **_sent: Any) -> None:
    """Have every line of a task say which task it is, and whose work it does."""
    structlog.contextvars.bind_contextvars(task=task.name)
    subject, arguments = SUBJECTS.get(task.name), task.request.args
    if subject and arguments:
        structlog.contextvars.bind_contextvars(**{subject: arguments[0]})


@receiver(modify_context_before_task_publish)
def pass_on_the_request_alone(context: dict[str, Any], **_sent: Any) -> None:
    """What sends a message may be at work on another job or pool than the message is about."""
    for name in set(context) - {"request_id", "parent_task_id"}:
        del context[name]


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
