"""The web process. In embedded mode it also runs the worker thread."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

from deploy.whole_bodies import reading_whole_bodies

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
application = reading_whole_bodies(get_wsgi_application())
# All views are imported before the first request, which would wait for it, as the proxy would that
# asks whether this process takes any.
get_resolver().url_patterns  # noqa: B018

if settings.EMBEDDED:
    from results.worker.embedded import start_worker_thread

    start_worker_thread()
