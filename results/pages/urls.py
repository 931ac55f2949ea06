"""Addresses of the pages."""

from django.urls import URLPattern

app_name = "pages"
urlpatterns: list[URLPattern] = []
