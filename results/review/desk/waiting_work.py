"""How much waits for a moderator, of each kind, for the desk and for a moderator's bench."""

from __future__ import annotations

from dataclasses import dataclass

from results.catalogue.proposals import open_proposals
from results.jobs import operations
from results.models import Report, ReviewCase
from results.models.screening import APPEALED
from results.review.desk.queue import ANSWERED, with_messages


@dataclass(frozen=True)
class WaitingWork:
    """Counts of open cases, of those appealed or answered by their tester, and of the rest.

    ``second_looks`` are cases that a second tester settles as well as a moderator.
    """

    cases: int
    second_looks: int
    appealed: int
    answered: int
    failed: int
    reports: int
    proposals: int

    @property
    def total(self) -> int:
        """All that a person has to look at; appeals and answers are cases already."""
        return self.cases + self.failed + self.reports + self.proposals


def waiting_work() -> WaitingWork:
    """What waits at the moment, in eight small queries."""
    cases = ReviewCase.objects.still_open()
    return WaitingWork(
        cases=cases.count(),
        second_looks=ReviewCase.objects.wait_for_a_second_look().count(),
        appealed=cases.filter(APPEALED).count(),
        answered=with_messages(cases).filter(ANSWERED).count(),
        failed=operations.failed_jobs().count() + operations.failed_pools().count(),
        reports=Report.objects.filter(closed_at=None).count(),
        proposals=open_proposals().count(),
    )
