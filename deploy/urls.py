"""All routes: the API under /api/v1/, explanations of its problem types, the admin, the
operator's probes, and the pages."""

from allauth.account.decorators import secure_admin_login
from django.contrib import admin
from django.urls import include, path

from api.problem_kinds import explain
from deploy.observing.health import live, ready
from deploy.observing.metrics import metrics
from deploy.observing.status import operational_status

admin.site.login = secure_admin_login(admin.site.login)  # type: ignore[method-assign]  # as allauth documents

handler400 = "deploy.unavailable.malformed"
handler404 = "deploy.unavailable.not_found"
handler500 = "deploy.unavailable.server_error"

urlpatterns = [
    path("api/v1/", include("api.urls")),
    path("problems/<slug:kind>", explain, name="problem"),
    path("admin/standing/", operational_status, name="operational-status"),
    path("", include("results.pages.account.people_urls")),
    path("admin/", admin.site.urls),
    path("healthz", live, name="live"),
    path("readyz", ready, name="ready"),
    path("metrics", metrics, name="metrics"),
    path("", include("results.pages.account.urls")),
    path("", include("results.pages.urls")),
]
