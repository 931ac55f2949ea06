"""Notices to contributors about their sets: stored for API and pages, mailed if possible."""

from __future__ import annotations

import smtplib
from datetime import timedelta
from enum import Enum
from typing import TYPE_CHECKING

import structlog
from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db.models.functions import Now
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy, override

from results.jobs.after_commit import after_commit
from results.jobs.database_clock import from_now
from results.models import (
    Baseline,
    Notice,
    PullSet,
    Round,
    RoundParticipant,
    UnsentMail,
    WaitingSession,
)
from rigs.models import Contributor

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

log = structlog.get_logger(__name__)

REFUSED = (smtplib.SMTPResponseException, smtplib.SMTPRecipientsRefused)
"""Errors by which a server says that it did not take a mail."""
FIRST_RETRY, LONGEST_RETRY = timedelta(minutes=5), timedelta(days=1)
MOST_ATTEMPTS = 14
"""Over a good week; the notice is on its reader's bench either way."""
AT_ONCE = 50
"""Mails that one run sends again."""

OF_A_SET = gettext_lazy("There is news about one of your sets on your bench.")
"""Text of a mail, which can't be taken back: no names, and nothing that was written."""


OF_THE_CATALOGUE = gettext_lazy("There is news about a session of yours that waits.")
About = Notice.About


def notify_owner(
    pull_set: PullSet,
    text: str,
    *,
    about: Notice.About = About.SET,
    baseline: Baseline | None = None,
    mailed: str = "",
) -> Notice:
    """Store a notice in the caller's transaction; it is mailed once that has committed.

    ``about`` says where its link leads (see `address_of`); ``baseline`` is the straight line that
    it is about, if any, and leads to its chart; ``mailed`` is what the mail says besides, of no
    person and of nothing that was written.
    """
    notice = Notice.objects.create(
        to=pull_set.session.contributor,
        about=About.CHART if baseline is not None else about,
        pull_set=pull_set,
        baseline=baseline,
        text=text,
    )
    day = f"{pull_set.session.pulled_on:%Y-%m-%d}"
    subject = gettext_lazy("Samespool: set %(number)s of %(day)s")
    _mail_about(notice, subject, OF_A_SET, mailed, number=pull_set.pk, day=day)
    return notice


def notify_account(contributor: Contributor, text: str) -> None:
    """Notify a contributor about their account, in the caller's transaction; mailed if possible.

    It names their newest set, if they have one, since version 1 of the API lists notices by set.
    """
    newest = PullSet.objects.filter(session__contributor=contributor).order_by("-pk").first()
    notice = Notice.objects.create(to=contributor, about=About.ACCOUNT, pull_set=newest, text=text)
    _mail_about(notice, gettext_lazy("Samespool: your account"), text)


def notify_of_round(contributor: Contributor, of: Round, text: str) -> None:
    """Notify a contributor about a round, in the caller's transaction; mailed if possible.

    It names their newest set for the reason that `notify_account` does. ``text`` is mailed, too: it
    is of the service's words, numbers and days alone.
    """
    newest = PullSet.objects.filter(session__contributor=contributor).order_by("-pk").first()
    notice = Notice.objects.create(
        to=contributor, about=About.ROUND, round=of, pull_set=newest, text=text
    )
    subject = gettext_lazy("Samespool: round %(number)s of %(club)s")
    _mail_about(notice, subject, text, number=of.pk, club=of.club.name)


def notify_waiting(waiting: WaitingSession, text: str) -> Notice:
    """Notify a contributor about a session that waits for the catalogue; mailed if possible."""
    notice = Notice.objects.create(
        to=waiting.contributor, about=About.WAITING, waiting=waiting, text=text
    )
    _mail_about(notice, gettext_lazy("Samespool: a session that waits"), OF_THE_CATALOGUE)
    return notice


def address_of(notice: Notice) -> str:
    """The page that a notice is about, which its receiver can open."""
    if notice.about == About.CHART and notice.baseline is not None:
        return reverse("pages:rig", args=[notice.baseline.session.revision.rig_id])
    if notice.about == About.THREAD:
        return f"{reverse('pages:account')}#thread-{notice.pull_set_id}"
    if notice.about == About.WAITING and notice.waiting_id is not None:
        return reverse("pages:waiting-session", args=[notice.waiting_id])
    if notice.about == About.ROUND and notice.round is not None:
        took_part = RoundParticipant.objects.filter(
            round=notice.round_id, contributor=notice.to_id, number__isnull=False
        )
        has_own = notice.round.state == Round.State.CLOSED and took_part.exists()
        return reverse(
            "pages:own-round-report" if has_own else "pages:round", args=[notice.round_id]
        )
    if notice.about == About.SET and notice.pull_set_id is not None:
        return reverse("pages:pull-set", args=[notice.pull_set_id])
    return reverse("pages:account")


def _mail_about(
    notice: Notice, subject: StrOrPromise, *said: StrOrPromise, **names: object
) -> None:
    """Mail that there is a notice, with the links to what it is about and to end such mails.

    The mail is in the service's language: the reader's is not known where it is sent.
    """
    if not (settings.SAMESPOOL_MAIL_FROM and notice.to.user.email):
        return
    with override(settings.LANGUAGE_CODE):
        title = str(subject) % names if names else str(subject)
        parts = [title, *map(str, said)]
        if at := settings.SAMESPOOL_ADDRESS:
            read, change = at + address_of(notice), at + reverse("account_email")
            parts += [
                gettext("Signed in, you read it here:") + f" {read}",
                gettext("To change or remove the address that this goes to:") + f" {change}",
            ]
    after_commit(_mail, notice.to, title, "\n\n".join(filter(None, parts)))


def wait_after(refused: int) -> float:
    """Seconds until a mail that was refused so often is tried again, twice as long each time."""
    doubled: timedelta = FIRST_RETRY * 2 ** min(refused, 12)
    return min(doubled, LONGEST_RETRY).total_seconds()


def mail_unsent() -> None:
    """Send again what the mail server refused and whose time has come."""
    if not settings.SAMESPOOL_MAIL_FROM:
        return
    due = UnsentMail.objects.select_related("contributor__user").filter(again_at__lte=Now())
    for mail in due[:AT_ONCE]:
        address = mail.contributor.user.email
        taken, _rows = UnsentMail.objects.filter(pk=mail.pk).delete()
        if not (taken and address):
            continue  # another worker has it, or there is no address any more
        outcome = _send(mail.subject, mail.text, address)
        if outcome is not _Outcome.DONE:
            _keep(mail.contributor, mail.subject, mail.text, mail.refused + 1)
        if outcome is _Outcome.UNREACHABLE:
            return


class _Outcome(Enum):
    DONE = "the server took it, or it is unclear whether it did"
    REFUSED = "the server did not take it"
    UNREACHABLE = "there is no server"


def _mail(to: Contributor, subject: str, text: str) -> None:
    """Mail a notice, which is stored; what is refused is sent again."""
    if _send(subject, text, to.user.email) is not _Outcome.DONE:
        _keep(to, subject, text, 1)


def _keep(to: Contributor, subject: str, text: str, refused: int) -> None:
    if refused >= MOST_ATTEMPTS:
        log.warning("notice given up: not mailed", subject=subject)
        return
    UnsentMail.objects.create(
        contributor=to,
        subject=subject,
        text=text,
        refused=refused,
        again_at=from_now(wait_after(refused - 1)),
    )


def _send(subject: str, text: str, address: str) -> _Outcome:
    connection = get_connection()
    try:
        connection.open()
    except (OSError, smtplib.SMTPException) as error:
        log.warning("notice not mailed: it is sent again", subject=subject, error=str(error))
        return _Outcome.UNREACHABLE
    try:
        message = EmailMessage(subject, text, settings.SAMESPOOL_MAIL_FROM, [address])
        connection.send_messages([message])
    except REFUSED as error:
        log.warning("notice refused: it is sent again", subject=subject, error=type(error).__name__)
        return _Outcome.REFUSED
    except (OSError, smtplib.SMTPException):
        log.warning("unclear whether a notice was mailed", subject=subject)
    finally:
        connection.close()
    return _Outcome.DONE
