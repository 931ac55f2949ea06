"""How Samespool runs. The Celery app is loaded here, so that every task is bound to it."""

from deploy.stopping import end_while_starting

end_while_starting()

from deploy.celery import app as celery_app  # noqa: E402 - it takes seconds to import

__all__ = ["celery_app"]
