"""The Celery app: its messages are hints, the job rows are the truth."""

import os

from celery import Celery
from django_structlog.celery.steps import DjangoStructLogInitStep

from deploy.observing import workers  # noqa: F401  (has workers tell that they are at work)

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

app = Celery("samespool")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.steps["worker"].add(DjangoStructLogInitStep)
