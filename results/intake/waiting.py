"""From check to store on a page: the file waits in between, so that it is sent only once."""

from __future__ import annotations

import uuid

from django.db import transaction
from django.utils.translation import gettext

from results.intake.receiving import Receipt, receive
from results.models import Session, Upload, WaitingUpload
from rigs.locks import lock_uploader
from rigs.models import Contributor
from rigs.refusals import Conflict


def let_wait(
    contributor: Contributor, file_name: str, body: bytes, content_type: str
) -> WaitingUpload:
    """Keep a checked file in place of the one checked before.

    Locks the contributor, then that one's row. Raises AccountClosed, AccountSuspended.
    """
    with transaction.atomic():
        return WaitingUpload.objects.update_or_create(
            contributor=lock_uploader(contributor),
            defaults={
                "key": uuid.uuid4(),
                "file_name": file_name[-120:],
                "body": body,
                "content_type": content_type,
            },
        )[0]


def store_waiting(
    contributor: Contributor,
    key: uuid.UUID,
    *,
    replaces: Session | None = None,
    reason: str = "",
) -> Receipt:
    """Receive the file that waits under this key; a repeated request gets the first answer.

    With ``replaces`` it takes the place of that session, for this reason.

    Raises as ``receive`` does, and Conflict where no such file waits or was stored.
    """
    waiting = WaitingUpload.objects.filter(contributor=contributor, key=key).first()
    if waiting is None:
        return _stored(contributor, key)
    receipt = receive(
        contributor,
        bytes(waiting.body),
        waiting.content_type,
        str(key),
        replaces=replaces,
        reason=reason,
    )
    waiting.delete()
    return receipt


def _stored(contributor: Contributor, key: uuid.UUID) -> Receipt:
    earlier = Upload.objects.filter(contributor=contributor, idempotency_key=str(key)).first()
    if earlier is None:
        raise Conflict(
            gettext("Another file was checked since, or this one too long ago: check it again.")
        )
    return Receipt(earlier.session, earlier.session.jobs.earliest("created_at"), created=False)
