"""Reporting: a reader or tester has moderators look at a set or a name."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext

from results.models import Connection, Pool, PullSet, Report
from rigs.models import Contributor, Line, Rig
from rigs.permissions import is_moderator
from rigs.quotas import ration
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

LONGEST_TEXT = 2000
MOST_AN_HOUR, AN_HOUR_S = 10, 3600
SUBJECTS = {
    Report.Subject.PULL_SET: PullSet,
    Report.Subject.POOL: Pool,
    Report.Subject.CONNECTION: Connection,
    Report.Subject.LINE: Line,
    Report.Subject.RIG: Rig,
    Report.Subject.CONTRIBUTOR: Contributor,
}


def report(*, kind: str, number: int, text: str, by: Contributor | None, address: str) -> Report:
    """Keep what someone says of a set or a name, for moderators alone to read.

    ``by`` is empty for a reader without an account, who is distinguished from others by a keyed
    hash of the network ``address`` for as long as the report is open. Raises Invalid, TooMany, and
    Conflict where the same reporter has an open report of the same. Takes no locks.
    """
    _check(kind, number, text)
    key = f"contributor:{by.pk}" if by else f"address:{_hashed(address)}"
    ration("reports", key, MOST_AN_HOUR, AN_HOUR_S)
    try:
        with transaction.atomic():
            return Report.objects.create(
                subject_kind=kind,
                subject_id=number,
                reporter=by,
                reporter_key=key,
                text=text.strip(),
            )
    except IntegrityError:
        raise Conflict(
            gettext("You have reported this already, and a moderator has not answered yet.")
        ) from None


def close_report(found: Report, *, by: User, outcome: str) -> None:
    """Record a moderator's outcome of a report; the reporter's address is deleted.

    Locks the report. Raises Forbidden for anyone but a moderator, Invalid without an outcome,
    Conflict where it is closed already.
    """
    if not is_moderator(by):
        raise Forbidden(gettext("Only a moderator closes a report."))
    _check_text("outcome", outcome)
    changed = Report.objects.filter(pk=found.pk, closed_at=None).update(
        closed_at=timezone.now(), closed_by=by, outcome=outcome.strip(), reporter_key=""
    )
    if not changed:
        raise Conflict(gettext("This report is closed already."))


def _check(kind: str, number: int, text: str) -> None:
    if kind not in SUBJECTS:
        known = ", ".join(SUBJECTS)
        raise Invalid(
            gettext("This can't be reported."), [Finding("", "subject_kind", kind, known)]
        )
    if not SUBJECTS[Report.Subject(kind)]._base_manager.filter(pk=number).exists():
        expected = gettext("the number of a %(kind)s") % {"kind": kind}
        raise Invalid(
            gettext("This can't be reported."), [Finding("", "subject_id", str(number), expected)]
        )
    _check_text("text", text)


def _check_text(field: str, text: str) -> None:
    if not text.strip() or len(text) > LONGEST_TEXT or "\x00" in text:
        found = (
            gettext("%(text)s characters") % {"text": len(text)}
            if text.strip()
            else gettext("nothing")
        )
        expected = gettext("some words, at most %(longest_text)s characters") % {
            "longest_text": LONGEST_TEXT
        }
        raise Invalid(gettext("Say what is wrong with it."), [Finding("", field, found, expected)])


def _hashed(address: str) -> str:
    """A network address by a hash that only this service can make, so that it is not kept."""
    return salted_hmac("results.review.reports", address, algorithm="sha256").hexdigest()[:48]
