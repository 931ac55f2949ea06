"""Running the job of a session: normalise it, screen it, and leave its pools to be computed."""

from __future__ import annotations

import uuid

import structlog
from structlog.contextvars import bound_contextvars

from results.jobs import queue
from results.jobs.attempts import keep_owed
from results.jobs.database_errors import trouble_of
from results.models import Job, Session
from results.normalising.normalise import fix_references, normalise_session
from results.normalising.usable_straight import misled_by
from results.rig_checks.control_charts import tell_of_signals
from results.screening.screen import screen_session

log = structlog.get_logger(__name__)


def run(job_id: uuid.UUID) -> bool:
    """Run one job to its end, if it can be claimed. A failure is kept with the job.

    False where nothing came of it and nothing is to be gained by trying at once: it could not be
    claimed, or the database was in trouble.
    """
    with bound_contextvars(job=str(job_id)):
        keep_owed()
        job = queue.claim(job_id)
        if job is None:
            return False
        with bound_contextvars(session=job.session_id, attempt=job.attempts):
            try:
                _run_steps(job)
                log.info("job worked out")
            except Exception as error:
                log.exception("job failed")
                queue.give_back(job, error)
                return trouble_of(error) is None
        return True


def _run_steps(job: Job) -> None:
    normalise_session(job.session_id, still_ours=lambda: queue.advance(job, Job.Step.SCREENING))
    screen_session(
        job.session_id,
        still_ours=lambda: queue.advance_to_pooling(job),
        follow=lambda: _follow_screening(job.session_id),
    )


def _follow_screening(session_id: int) -> None:
    """What a screening changes elsewhere, in its transaction.

    A drifting rig is reported, the reference line of a pair is fixed, and sessions that borrowed a
    straight line which is held now are worked out again.
    """
    session = Session.objects.select_related("revision").get(pk=session_id)
    tell_of_signals(session_id)
    if fix_references(session):
        queue.enqueue(session)
    for borrower in misled_by(session):
        queue.enqueue(borrower)
