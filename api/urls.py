"""Addresses of the API."""

from django.urls import path, re_path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from api import (
    budgets,
    calibrations,
    comparisons,
    connections,
    jobs,
    lines,
    open_data,
    people,
    pool_parts,
    pool_versions,
    pools,
    pull_sets,
    rankings,
    reviews,
    rigs,
    root,
    sessions,
    tokens,
    watch,
)
from api.problems import Nothing

app_name = "api"
urlpatterns = [
    path("", root.Root.as_view(), name="root"),
    path("pools", pools.Pools.as_view(), name="pools"),
    path("pools/ranking", rankings.Ranking.as_view(), name="ranking"),
    path("pools/<int:pk>", pools.OnePool.as_view(), name="pool"),
    path("pools/<int:pk>/sets", pool_parts.PooledSets.as_view(), name="pool-sets"),
    path(
        "pools/<int:pk>/tester-effects",
        pool_parts.TesterEffects.as_view(),
        name="pool-tester-effects",
    ),
    path("pools/<int:pk>/versions", pool_versions.Versions.as_view(), name="pool-versions"),
    path(
        "pools/<int:pk>/versions/<int:number>/changes",
        pool_versions.Changes.as_view(),
        name="pool-version-changes",
    ),
    path("pools/<int:pk>/comparison", comparisons.Comparison.as_view(), name="comparison"),
    path("tokens", tokens.Tokens.as_view(), name="tokens"),
    path("tokens/current", tokens.CurrentToken.as_view(), name="current-token"),
    path("me", people.Me.as_view(), name="me"),
    path("clubs", people.Clubs.as_view(), name="clubs"),
    path("contributors", people.Contributors.as_view(), name="contributors"),
    path("contributors/<int:pk>", people.OneContributor.as_view(), name="contributor"),
    path("rigs", rigs.Rigs.as_view(), name="rigs"),
    path("rigs/<int:pk>", rigs.OneRig.as_view(), name="rig"),
    path("rigs/<int:pk>/revisions", rigs.Revisions.as_view(), name="revisions"),
    *watch.urlpatterns,
    path("revisions/<int:pk>", rigs.OneRevision.as_view(), name="revision"),
    path(
        "revisions/<int:pk>/calibrations",
        calibrations.Calibrations.as_view(),
        name="calibrations",
    ),
    path("calibrations/<int:pk>", calibrations.OneCalibration.as_view(), name="calibration"),
    path("lines", lines.Lines.as_view(), name="lines"),
    path("lines/<int:pk>", lines.OneLine.as_view(), name="line"),
    path("connections", connections.Connections.as_view(), name="connections"),
    path("connections/<int:pk>", connections.OneConnection.as_view(), name="connection"),
    path("jobs/<uuid:pk>", jobs.OneJob.as_view(), name="job"),
    *sessions.urlpatterns,
    *budgets.urlpatterns,
    path("open-data", open_data.OpenData.as_view(), name="open-data"),
    path("pull-sets/<int:pk>", pull_sets.OnePullSet.as_view(), name="pull-set"),
    path("pull-sets/<int:pk>/decisions", pull_sets.Decisions.as_view(), name="decisions"),
    *reviews.urlpatterns,
    path("schema", SpectacularAPIView.as_view(), name="schema"),
    path(
        "docs",
        SpectacularSwaggerSplitView.as_view(url_name="api:schema", template_name="api/docs.html"),
        name="docs",
    ),
    re_path("", Nothing.as_view(), name="nothing"),
]
