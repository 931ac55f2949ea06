"""Addresses of the pages of rigs."""

from django.urls import path

from results.pages import bench_sheet, rigs_changes, rigs_corrections, rigs_drawings, rigs_one

DARK, PICTURE = {"form": "dark"}, {"form": "picture"}

urlpatterns = [
    path("rigs/", rigs_one.rig_list, name="rigs"),
    path("rigs/register/", rigs_changes.register, name="register"),
    path("rigs/<int:pk>/", rigs_one.rig, name="rig"),
    path("rigs/<int:pk>/change/", rigs_changes.revise, name="revise"),
    path("revisions/<int:pk>/calibrate/", rigs_changes.calibrate, name="calibrate"),
    path("revisions/<int:pk>/correct/", rigs_corrections.correct_revision, name="correct-revision"),
    path("revisions/<int:pk>/void/", rigs_corrections.void_revision, name="void-revision"),
    path(
        "calibrations/<int:pk>/correct/",
        rigs_corrections.correct_calibration,
        name="correct-calibration",
    ),
    path("calibrations/<int:pk>/void/", rigs_corrections.void_calibration, name="void-calibration"),
    path("bench-sheet/", bench_sheet.bench_sheet, name="bench-sheet"),
    *(
        path(f"{address}{ending}", view, form, name=f"{name}{suffix}")
        for address, view, name in (
            ("calibrations/<int:pk>/residuals", rigs_drawings.residuals, "residuals"),
            ("watch/straight/<int:pk>", rigs_drawings.watch_straight, "watch-straight"),
            ("watch/joins/<int:pk>", rigs_drawings.watch_join, "watch-join"),
        )
        for ending, suffix, form in (
            (".svg", "", {}),
            ("-dark.svg", "-dark", DARK),
            (".png", "-png", PICTURE),
        )
    ),
]
