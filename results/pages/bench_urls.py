"""Addresses of whoever is signed in: their bench, their account."""

from django.urls import path

from results.pages import accounts, at_the_rig, bench, job, joining, tying, upload

urlpatterns = [
    path("bench/", bench.bench, name="bench"),
    path("bench/notices/read/", bench.read_notices, name="read-notices"),
    path("bench/sets/<int:pk>/say/", bench.say, name="say"),
    path("bench/tying/", tying.tying, name="tying"),
    path("at-the-rig/", at_the_rig.at_the_rig, name="at-the-rig"),
    path("at-the-rig/worker.js", at_the_rig.worker, name="at-the-rig-worker"),
    path("upload/", upload.upload, name="upload"),
    path("upload/<uuid:key>/store/", upload.store, name="store"),
    path("jobs/<uuid:pk>/", job.job, name="job"),
    path("account/", accounts.account, name="account"),
    path("account/join/", joining.join, name="join"),
    path("account/licence/", accounts.agree_to_licence, name="agree"),
    path("account/tokens/", accounts.make_token, name="make-token"),
    path("account/tokens/<str:digest>/end/", accounts.end_token, name="end-token"),
    path("account/data/", accounts.own_data, name="own-data"),
    path("account/close/", accounts.close, name="close-account"),
]
