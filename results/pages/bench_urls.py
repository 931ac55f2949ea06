"""Addresses of whoever is signed in: their bench, their account."""

from django.urls import path

from results.pages import accounts, bench

urlpatterns = [
    path("bench/", bench.bench, name="bench"),
    path("account/", accounts.account, name="account"),
    path("account/licence/", accounts.agree_to_licence, name="agree"),
    path("account/tokens/", accounts.make_token, name="make-token"),
    path("account/tokens/<str:digest>/end/", accounts.end_token, name="end-token"),
    path("account/close/", accounts.close, name="close-account"),
]
