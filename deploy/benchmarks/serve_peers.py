"""The service's addresses with an empty view beside them, for `deploy/bench serve` alone."""

from django.http import HttpRequest, HttpResponse
from django.urls import path

from deploy import urls


def empty(_request: HttpRequest) -> HttpResponse:
    """Nothing, by way of the same server and middleware as everything else."""
    return HttpResponse()


urlpatterns = [path("empty", empty), *urls.urlpatterns]
