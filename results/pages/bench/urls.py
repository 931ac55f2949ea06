"""Addresses for people who are signed in: their bench and account."""

from django.urls import path

from results.pages.account import account, clubs, join
from results.pages.bench import at_the_rig, job, my_bench, own_session, tying, upload
from results.pages.recordings import recording

urlpatterns = [
    path("bench/", my_bench.bench, name="bench"),
    path("bench/notices/read/", my_bench.read_notices, name="read-notices"),
    path("bench/sets/<int:pk>/say/", my_bench.say, name="say"),
    path("bench/tying/", tying.tying, name="tying"),
    path("at-the-rig/", at_the_rig.at_the_rig, name="at-the-rig"),
    path("at-the-rig/worker.js", at_the_rig.worker, name="at-the-rig-worker"),
    path("recordings/", recording.send, name="recordings"),
    path("recordings/<uuid:key>/", recording.recording, name="recording"),
    path("upload/", upload.upload, name="upload"),
    path("upload/<uuid:key>/propose/", upload.propose, name="propose"),
    path("upload/waiting/<uuid:key>/", upload.waiting_session, name="waiting-session"),
    path("upload/waiting/<uuid:key>/delete/", upload.take_back, name="take-back"),
    path("upload/<uuid:key>/store/", upload.store, name="store"),
    path("sessions/<int:pk>/", own_session.session, name="session"),
    path("sessions/<int:pk>/withdraw/", own_session.withdraw, name="withdraw-session"),
    path("sessions/<int:pk>/unit/", own_session.take_unit, name="take-unit"),
    path("sessions/<int:pk>/resolution/", own_session.take_resolution, name="take-resolution"),
    path("jobs/<uuid:pk>/", job.job, name="job"),
    path("account/", account.account, name="account"),
    path("account/join/", join.join, name="join"),
    path("clubs/invitation/<str:key>/", clubs.invitation, name="club-invitation"),
    path("clubs/leave/", clubs.leave, name="leave-club"),
    path("account/licence/", account.agree_to_licence, name="agree"),
    path("account/tokens/", account.make_token, name="make-token"),
    path("account/tokens/<str:digest>/end/", account.end_token, name="end-token"),
    path("account/data/", account.own_data, name="own-data"),
    path("account/close/", account.close, name="close-account"),
]
