"""Addresses of the pages of rigs."""

from django.urls import path

from results.pages import drawn
from results.pages.rigs import bench_sheet, changes, charts, corrections, rig

CHARTS = (
    ("calibrations/<int:pk>/residuals", charts.residuals, "residuals"),
    ("watch/straight/<int:pk>", charts.watch_straight, "watch-straight"),
    ("watch/joins/<int:pk>", charts.watch_join, "watch-join"),
)

urlpatterns = [
    path("rigs/", rig.rig_list, name="rigs"),
    path("rigs/register/", changes.register, name="register"),
    path("rigs/<int:pk>/", rig.rig, name="rig"),
    path("rigs/<int:pk>/change/", changes.revise, name="revise"),
    path("revisions/<int:pk>/calibrate/", changes.calibrate, name="calibrate"),
    path("revisions/<int:pk>/correct/", corrections.correct_revision, name="correct-revision"),
    path("revisions/<int:pk>/void/", corrections.void_revision, name="void-revision"),
    path(
        "calibrations/<int:pk>/correct/",
        corrections.correct_calibration,
        name="correct-calibration",
    ),
    path("calibrations/<int:pk>/void/", corrections.void_calibration, name="void-calibration"),
    path("bench-sheet/", bench_sheet.bench_sheet, name="bench-sheet"),
    *drawn.addresses(CHARTS),
]
