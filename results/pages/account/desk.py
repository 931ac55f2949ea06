"""The way to the desk, and what waits there, for those who may enter it."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import AnonymousUser, User

from results.review.desk.waiting_work import waiting_work
from rigs.permissions import is_moderator


def desk_of(user: User | AnonymousUser) -> dict[str, Any]:
    """What the template of the way to the desk needs: nothing is counted for anyone else."""
    moderator = is_moderator(user)
    return {"moderator": moderator, "waiting": waiting_work() if moderator else None}
