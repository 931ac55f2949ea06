"""Addresses of rounds."""

from django.urls import path

from results.pages.rounds import lots, one, plan, report

urlpatterns = [
    path("rounds/", plan.rounds, name="rounds"),
    path("rounds/enter/", plan.enter_round, name="enter-round"),
    path("rounds/set-up/", plan.plan, name="set-up-round"),
    path("rounds/codes/<str:code>/", one.by_code, name="round-code"),
    path("rounds/<int:pk>/", one.one_round, name="round"),
    path("rounds/<int:pk>/change/", plan.plan, name="change-round"),
    path("rounds/<int:pk>/open/", plan.open_it, name="open-round"),
    path("rounds/<int:pk>/close/", plan.close_it, name="close-round"),
    path("rounds/<int:pk>/leave/", plan.leave, name="leave-round"),
    path("rounds/<int:pk>/lots/<int:number>/", lots.lot, name="round-lot"),
    path("rounds/sealed/<int:pk>/take-back/", plan.take_back_sealed, name="take-back-sealed"),
    path("rounds/<int:pk>/sheet/", one.sheet, name="round-sheet"),
    path("rounds/<int:pk>/labels/", one.labels, name="round-labels"),
    path("rounds/<int:pk>/report/", report.of_round, name="round-report"),
    path("rounds/<int:pk>/report/mine/", report.own, name="own-round-report"),
]
