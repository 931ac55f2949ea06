"""Addresses of the pages and charts of pools and line pairs."""

from django.urls import path

from results.pages import drawn, measures
from results.pages.pools import charts, embedded, line_pair, pool, wanted
from results.pages.reading import about, catalogue, open_data, report

CHARTS = (
    ("pools/<int:pk>/forest", charts.forest, "forest"),
    ("pools/<int:pk>/pulls", charts.pulls, "pool-pulls"),
    ("pools/<int:pk>/history", charts.history, "pool-history"),
    ("pools/<int:pk>/left-out", charts.left_out, "pool-left-out"),
    ("compare/joins", charts.joins, "joins-chart"),
)

urlpatterns = [
    path("about/", about.about, name="about"),
    path("cautions/", about.cautions, name="cautions"),
    path("favicon.ico", about.icon, name="icon"),
    path("privacy/", about.privacy, name="privacy"),
    path("report/<str:subject>/<int:pk>/", report.report_it, name="report"),
    path("search/", catalogue.search, name="search"),
    path("connections/<int:pk>/", catalogue.connection, name="connection"),
    path("lines/<int:pk>/", catalogue.line, name="line"),
    path("clubs/<int:pk>/", catalogue.club, name="club"),
    path("wanted/", wanted.wanted, name="wanted"),
    path("wanted/vote/", wanted.cast_vote, name="vote"),
    path("measures/", measures.choose, name="measures"),
    path("compare/", line_pair.line_pair, name="line-pair"),
    path("pools/<int:pk>/", pool.one_pool, name="pool"),
    path("pools/<int:pk>/versions/<int:number>/", pool.one_version, name="version"),
    path("pools/<int:pk>/embedded/", embedded.embedded, name="embedded"),
    path(
        "pools/<int:pk>/versions/<int:number>/embedded/", embedded.embedded, name="embedded-version"
    ),
    path("card.png", charts.service_card, name="service-card"),
    path("pools/<int:pk>/card.png", charts.card, name="card"),
    path("pools/<int:pk>/versions/<int:number>/card.png", charts.card, name="version-card"),
    path("open-data/", open_data.open_data, name="open-data"),
    path("open-data/latest/", open_data.latest, name="open-data-latest"),
    path("open-data/latest/<str:name>", open_data.latest, name="open-data-latest-file"),
    path("open-data/traces/", open_data.traces, name="open-data-traces"),
    path("open-data/traces/<str:name>", open_data.traces_file, name="open-data-traces-file"),
    path("open-data/<int:number>/", open_data.release, name="open-data-release"),
    path("open-data/<int:number>/<str:name>", open_data.file, name="open-data-file"),
    *drawn.addresses(CHARTS),
]
