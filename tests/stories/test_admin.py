"""Everything is findable in the admin, and history can't be changed there."""

import pytest
from django.apps import apps
from django.contrib import admin
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from tests import making

MODELS = [model for app in ("rigs", "results") for model in apps.get_app_config(app).get_models()]
EDITED_BY_HAND = {
    "Club",
    "Connection",
    "ConnectionAlias",
    "Contributor",
    "Line",
    "TieParameter",
}


@pytest.fixture
def as_admin(db) -> Client:
    client = Client()
    client.force_login(User.objects.create_superuser("admin"))
    return client


def address(model, page: str) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{page}")


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_each_table_is_listed_and_searched(model, as_admin):
    assert as_admin.get(address(model, "changelist")).status_code == 200
    found = as_admin.get(address(model, "changelist"), {"q": "42"})
    assert found.status_code == 200
    assert admin.site.get_model_admin(model).search_fields


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_only_catalogues_and_profiles_are_added_to_by_hand(model, as_admin):
    expected = 200 if model.__name__ in EDITED_BY_HAND else 403
    assert as_admin.get(address(model, "add")).status_code == expected


def test_a_stored_session_is_shown_whole_and_neither_changed_nor_deleted(as_admin, owner):
    session = making.session(making.revision_of(owner))
    making.straight(session, making.line("thin"))
    page = reverse("admin:results_session_change", args=[session.pk])

    assert "thin straight" in as_admin.get(page).content.decode()
    assert as_admin.post(page, {"unit": "lbf"}).status_code == 403
    deletion = reverse("admin:results_session_delete", args=[session.pk])
    assert as_admin.post(deletion, {"post": "yes"}).status_code == 403
