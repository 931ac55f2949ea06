"""How Samespool runs. The Celery app is loaded here, so that every task is bound to it."""

from deploy.celery import app as celery_app

__all__ = ["celery_app"]
