"""Addresses of the pages and charts of pools and line pairs."""

from django.urls import path

from results.pages import line_pairs, one_pool, pool_charts

CHARTS = (
    ("pools/<int:pk>/pulls", pool_charts.pulls, "pool-pulls"),
    ("pools/<int:pk>/history", pool_charts.history, "pool-history"),
    ("pools/<int:pk>/left-out", pool_charts.left_out, "pool-left-out"),
    ("compare/joins", pool_charts.joins, "joins-chart"),
)
FORMS = ((".svg", "", "light"), ("-dark.svg", "-dark", "dark"), (".png", "-png", "picture"))

urlpatterns = [
    path("compare/", line_pairs.line_pair, name="line-pair"),
    path("pools/<int:pk>/", one_pool.one_pool, name="pool"),
    path("pools/<int:pk>/versions/<int:number>/", one_pool.one_version, name="version"),
    path("pools/<int:pk>/card.png", pool_charts.card, name="card"),
    *(
        path(f"{address}{ending}", view, {"form": form}, name=f"{name}{suffix}")
        for address, view, name in CHARTS
        for ending, suffix, form in FORMS
    ),
]
