"""The Celery app: its messages are hints, the job rows are the truth."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

app = Celery("samespool")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
