"""The administrator's page among the admin's addresses, where two factors are asked for."""

from django.urls import path

from results.pages.account.people import people

urlpatterns = [path("admin/people/", people, name="make-account")]
