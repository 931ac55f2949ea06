"""Addresses of the pages."""

from django.urls import path

from results.pages import (
    bench_urls,
    contributors,
    forests,
    pool_list,
    pool_urls,
    pull_sets,
    rigs_urls,
)

app_name = "pages"
urlpatterns = [
    path("", pool_list.pool_list, name="pools"),
    path("pools/<int:pk>/forest.svg", forests.light, name="forest"),
    path("pools/<int:pk>/forest-dark.svg", forests.dark, name="forest-dark"),
    path("pools/<int:pk>/forest.png", forests.picture, name="forest-png"),
    path("pull-sets/<int:pk>/", pull_sets.pull_set, name="pull-set"),
    *pool_urls.urlpatterns,
    *rigs_urls.urlpatterns,
    *bench_urls.urlpatterns,
    path("contributors/<path:handle>/", contributors.contributor, name="contributor"),
]
