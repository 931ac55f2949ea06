"""Receiving a session: read, checked and stored whole, or refused whole."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from django.db import IntegrityError, transaction
from django.utils.translation import gettext

from results.intake import amend
from results.intake.checking import Checked, check
from results.intake.findings import LacksEntries
from results.intake.fingerprint import fingerprint
from results.intake.reading import form_of, read
from results.intake.storing import store_session, store_upload
from results.jobs import queue
from results.models import Job, Session, Upload
from results.models.corrected_rounds import carry_over
from rigs.locks import lock_uploader_on, refuse_uploads_of
from rigs.models import Contributor
from rigs.refusals import Conflict, Finding, Invalid, Refused

LONGEST_KEY = 200


@dataclass(frozen=True)
class Receipt:
    """What became of an upload; ``created`` is False where it had been received before."""

    session: Session
    job: Job
    created: bool
    warnings: tuple[Finding, ...] = ()


def receive(
    contributor: Contributor,
    body: bytes,
    content_type: str,
    idempotency_key: str | None,
    *,
    replaces: Session | None = None,
    reason: str = "",
) -> Receipt:
    """Store a session and its job, or find them where the same upload came before.

    Reading and checking come first and lock nothing; whether the account may upload is asked under
    the lock, and before that only where there is another answer to give. One transaction then locks
    the contributor and inserts everything; two uploads of the same session meet at the unique
    constraints on the idempotency key and the fingerprint, where the later is answered from the
    earlier. With ``replaces`` the earlier version and its pull sets are locked too, in the order of
    `rigs.locks`.

    Raises Unreadable, TooLarge, Invalid, Forbidden, AccountClosed, AccountSuspended, and Conflict
    where the session is stored under another key.
    """
    key = _checked_key(idempotency_key)
    sha256 = hashlib.sha256(body).hexdigest()
    if key is not None:
        refuse_uploads_of(contributor)
        earlier = _by_key(contributor, key, sha256, replaces)
        if earlier is not None:
            return earlier
    checked = _checked(contributor, body, content_type, replaces, reason)
    mark = fingerprint(checked)
    try:
        with transaction.atomic():
            lock_uploader_on(contributor, checked.revision)
            if replaces is not None:
                amend.retire(replaces, contributor, Session.Standing.REPLACED, reason)
            session, job = _stored(contributor, checked, mark, replaces)
            store_upload(session, body, form_of(content_type), sha256, key)
    except (IntegrityError, Conflict):
        # The same session is there: under this key, which is answered as the first time, or not.
        earlier = _by_key(contributor, key, sha256, replaces)
        if earlier is not None:
            return earlier
        _refuse_twin(contributor, mark, replaces)
        raise
    return Receipt(session, job, created=True, warnings=checked.warnings)


def _checked(
    contributor: Contributor,
    body: bytes,
    content_type: str,
    replaces: Session | None,
    reason: str,
) -> Checked:
    """The session as it can be stored. Who may not upload is answered that, and no mistakes."""
    try:
        return check(contributor, read(body, content_type))
    except Refused as refusal:
        refuse_uploads_of(contributor)
        if isinstance(refusal, LacksEntries) and replaces is not None:
            refusal.as_correction = {"replaces": str(replaces.pk), "reason": reason}
        raise


def _stored(
    contributor: Contributor, checked: Checked, mark: str, replaces: Session | None
) -> tuple[Session, Job]:
    session = store_session(contributor, checked, mark, replaces)
    if replaces is not None:
        carry_over(replaces, session)
    return session, queue.enqueue(session)


def _checked_key(key: str | None) -> str | None:
    if key is None:
        return None
    if not key.strip() or len(key) > LONGEST_KEY or not (key.isascii() and key.isprintable()):
        expected = gettext(
            "1 to %(longest_key)s printable ASCII characters, new for each upload"
        ) % {"longest_key": LONGEST_KEY}
        found = (
            gettext("%(key)s characters") % {"key": len(key)} if key.strip() else gettext("a blank")
        )
        raise Invalid(
            gettext("The Idempotency-Key can't be used."),
            [Finding("header", "Idempotency-Key", found, expected)],
        )
    return key


def _by_key(
    contributor: Contributor, key: str | None, sha256: str, replaces: Session | None
) -> Receipt | None:
    """The receipt of the upload that came under this key. Raises Invalid if it was another."""
    if key is None:
        return None
    upload = (
        Upload.objects.filter(contributor=contributor, idempotency_key=key)
        .select_related("session__contributor", "contributor")
        .first()
    )
    if upload is None:
        return None
    if upload.sha256 != sha256 or upload.session.replaces_id != (replaces.pk if replaces else None):
        raise Invalid(
            gettext(
                "The Idempotency-Key was used for another upload, which became session "
                "%(session_id)s."
            )
            % {"session_id": upload.session_id},
            [
                Finding(
                    "header", "Idempotency-Key", gettext("a key used before"), gettext("a new key")
                )
            ],
        )
    job = upload.session.jobs.earliest("created_at")
    return Receipt(upload.session, job, created=False, warnings=_warnings_again(upload))


def _warnings_again(upload: Upload) -> tuple[Finding, ...]:
    """The warnings of the first answer; none where the catalogue has since changed under it."""
    try:
        found = read(bytes(upload.body), upload.content_type)
        return check(upload.contributor, found).warnings
    except Refused:
        return ()


def _refuse_twin(contributor: Contributor, mark: str, replaces: Session | None) -> None:
    twin = contributor.sessions.filter(fingerprint=mark, standing=Session.Standing.CURRENT).first()
    if twin is None or twin == replaces:
        return
    raise stored_already(twin)


def stored_already(twin: Session) -> Conflict:
    """The refusal of the same pulls on the same day."""
    return Conflict(
        gettext(
            "This session is already stored as session %(pk)s, of %(pulled_on)s: the "
            "same pulls on the same day. Amend that one, or withdraw it first."
        )
        % {"pk": twin.pk, "pulled_on": twin.pulled_on},
        [
            Finding(
                "",
                "",
                gettext("the same pulls as session %(pk)s") % {"pk": twin.pk},
                gettext("a session not yet stored"),
            )
        ],
    )
