"""Addresses of the pages."""

from django.urls import path

from results.pages.bench import urls
from results.pages.following import urls as following_urls
from results.pages.pools import pool_list
from results.pages.pools import urls as pool_urls
from results.pages.reading import contributors, pull_set
from results.pages.rigs import urls as rig_urls
from results.pages.rounds import urls as round_urls

app_name = "pages"
urlpatterns = [
    path("", pool_list.pool_list, name="pools"),
    path("pull-sets/<int:pk>/", pull_set.pull_set, name="pull-set"),
    *pool_urls.urlpatterns,
    *rig_urls.urlpatterns,
    *urls.urlpatterns,
    *following_urls.urlpatterns,
    *round_urls.urlpatterns,
    path("contributors/<path:handle>/", contributors.contributor, name="contributor"),
]
