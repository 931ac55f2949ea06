"""The web process. In embedded mode it also runs the worker thread."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

from deploy.whole_bodies import reading_whole_bodies

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
application = reading_whole_bodies(get_wsgi_application())

if settings.EMBEDDED:
    from results.worker.embedded import start_worker_thread

    start_worker_thread()
