"""What is to be done once a transaction has committed, and must not undo its answer."""

from __future__ import annotations

from collections.abc import Callable

from django.db import transaction


def after_commit(act: Callable[..., object], *arguments: object) -> None:
    """Act once the caller's transaction commits; what breaks off then is logged and not raised.

    Django logs a hook that breaks off by its qualified name. A ``partial`` has none, so that
    looking for it would raise after the commit: an upload that is stored would answer 500.
    """
    transaction.on_commit(lambda: act(*arguments), robust=True)
