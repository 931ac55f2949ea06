"""Run a session's job: normalise it, screen it, and leave its pools marked to be computed."""

from __future__ import annotations

import uuid

import structlog
from structlog.contextvars import bound_contextvars

from results.jobs import queue
from results.jobs.attempts import flush_deferred_writes
from results.jobs.database_errors import database_fault
from results.models import Job, Session
from results.normalising.normalise import normalise_session
from results.normalising.references import fix_references
from results.normalising.usable_straight import borrowers_of_unusable
from results.rig_checks.control_charts import report_signals
from results.screening.screen import screen_session

log = structlog.get_logger(__name__)


def run(job_id: uuid.UUID) -> bool:
    """Run one job if it can be claimed. A failure is recorded with the job.

    False if trying again at once is no use: it could not be claimed, or the database had a fault.
    """
    with bound_contextvars(job=str(job_id)):
        flush_deferred_writes()
        job = queue.claim(job_id)
        if job is None:
            return False
        with bound_contextvars(session=job.session_id, attempt=job.attempts):
            try:
                _run_steps(job)
                log.info("session normalised and screened")
            except Exception as error:
                log.exception("job failed")
                queue.record_failure(job, error)
                return database_fault(error) is None
        return True


def _run_steps(job: Job) -> None:
    normalise_session(job.session_id, still_ours=lambda: queue.advance(job, Job.Step.SCREENING))
    screen_session(
        job.session_id,
        still_ours=lambda: queue.advance_to_pooling(job),
        follow=lambda: _follow_screening(job.session_id),
    )


def _follow_screening(session_id: int) -> None:
    """What a screening changes elsewhere, in the same transaction.

    Report a drifting rig, fix the reference line of a pair, and requeue sessions that measured
    against its other line or borrowed a straight line which is now held.
    """
    session = Session.objects.select_related("revision").get(pk=session_id)
    report_signals(session_id)
    for measured_otherwise in fix_references(session):
        queue.enqueue(measured_otherwise)
    for borrower in borrowers_of_unusable(session):
        queue.enqueue(borrower)
