"""Actions to run after a transaction commits, whose failure must not fail the request."""

from __future__ import annotations

from collections.abc import Callable

from django.db import transaction


def after_commit(act: Callable[..., object], *arguments: object) -> None:
    """Call ``act`` once the caller's transaction commits; an exception is logged, not raised.

    Django logs a failing hook by its qualified name. A ``partial`` has none, so looking it up
    would raise after the commit, and an upload that was stored would answer 500.
    """
    transaction.on_commit(lambda: act(*arguments), robust=True)
