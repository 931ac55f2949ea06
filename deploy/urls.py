"""Where everything is: the API under /api/v1/, the admin, and the pages."""

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("api/v1/", include("api.urls")),
    path("admin/", admin.site.urls),
    path("", include("results.pages.urls")),
]
