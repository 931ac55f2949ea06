"""Addresses of the pages."""

from django.urls import path
from django.views.generic import TemplateView

from results.pages import contributors, forests, one_pool, pool_list, pull_sets, rigs_urls

app_name = "pages"
urlpatterns = [
    path("", pool_list.pool_list, name="pools"),
    path("about/", TemplateView.as_view(template_name="pages/about.html"), name="about"),
    path("pools/<int:pk>/", one_pool.one_pool, name="pool"),
    path("pools/<int:pk>/forest.svg", forests.light, name="forest"),
    path("pools/<int:pk>/forest-dark.svg", forests.dark, name="forest-dark"),
    path("pools/<int:pk>/forest.png", forests.picture, name="forest-png"),
    path("pull-sets/<int:pk>/", pull_sets.pull_set, name="pull-set"),
    *rigs_urls.urlpatterns,
    path("contributors/<path:handle>/", contributors.contributor, name="contributor"),
]
