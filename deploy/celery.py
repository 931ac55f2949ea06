"""The Celery app: its messages are hints, the job rows are the truth."""

import os
import sys

from celery import Celery
from celery.signals import beat_init, task_prerun
from django.db import close_old_connections
from django_structlog.celery.steps import DjangoStructLogInitStep
from kombu.entity import Queue

from deploy.observing import workers  # noqa: F401  (registers the signals that record workers)
from deploy.one_scheduler import refuse_a_second

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")

app = Celery("samespool")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["results.worker"])
# Work that no upload waits for has its own queue. A worker without a queue option takes from both,
# by their names in order (``queue_order_strategy`` in the settings), so what uploads wait for
# first.
app.conf.task_queues = [Queue("celery"), Queue("later")]
app.conf.task_routes = {
    "results.tasks.complete_pool": {"queue": "later"},
    "results.tasks.mail_news": {"queue": "later"},
    "results.tasks.make_release": {"queue": "later"},
    "results.tasks.archive_traces": {"queue": "later"},
}
# A worker keeps its connection from task to task, and looks whether it still stands before each.
app.conf.CELERY_DB_REUSE_MAX = sys.maxsize
task_prerun.connect(lambda **_: close_old_connections(), weak=False)
app.steps["worker"].add(DjangoStructLogInitStep)
beat_init.connect(refuse_a_second)
