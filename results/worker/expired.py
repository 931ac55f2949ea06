"""What has expired is deleted: sessions of browsers, tokens, and files that were never stored."""

from __future__ import annotations

from datetime import timedelta

from django.contrib.sessions.models import Session as SignedIn
from django.utils import timezone
from knox.models import AuthToken

from results.models import WaitingUpload

WAITING = timedelta(days=30)
"""For how long a checked file waits for its contributor to store it."""


def clear_expired() -> int:
    """Delete what has expired; how many rows. Each table in a transaction of its own."""
    now = timezone.now()
    return sum(
        expired.delete()[0]
        for expired in (
            SignedIn.objects.filter(expire_date__lt=now),
            AuthToken.objects.filter(expiry__lt=now),
            WaitingUpload.objects.filter(checked_at__lt=now - WAITING),
        )
    )
