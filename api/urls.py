"""Addresses of the API."""

from django.urls import path, re_path

from api import people, tokens
from api.problems import Nothing

app_name = "api"
urlpatterns = [
    path("tokens", tokens.Tokens.as_view(), name="tokens"),
    path("tokens/current", tokens.CurrentToken.as_view(), name="current-token"),
    path("me", people.Me.as_view(), name="me"),
    path("clubs", people.Clubs.as_view(), name="clubs"),
    path("contributors", people.Contributors.as_view(), name="contributors"),
    path("contributors/<int:pk>", people.OneContributor.as_view(), name="contributor"),
    re_path("", Nothing.as_view(), name="nothing"),
]
