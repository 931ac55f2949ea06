"""Everything is findable in the admin, and history can't be changed there."""

import re
from html import unescape

import pytest
from allauth.mfa.models import Authenticator
from django.apps import apps
from django.contrib import admin
from django.contrib.auth.models import Group, Permission, User
from django.test import Client
from django.urls import reverse
from knox.models import AuthToken

from results.models import Session
from rigs.admin import MOST_ROWS
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


def test_a_row_with_many_others_shows_the_first_and_leads_to_all_of_them(as_admin, owner):
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    for _ in range(MOST_ROWS + 2):
        making.joined(session, main, leader, [80.0])
    page = as_admin.get(address(Session, "changelist") + f"{session.pk}/change/")
    text = page.content.decode()
    assert text.count(">Blood, set ") == MOST_ROWS
    (leads_on,) = re.findall(rf'href="([^"]+)">All {MOST_ROWS + 2} of them', text)
    listed = as_admin.get(unescape(leads_on)).content.decode()
    assert len(set(re.findall(r"/pullset/(\d+)/change/", listed))) == MOST_ROWS + 2


def test_only_rights_that_lead_somewhere_are_offered_and_others_that_were_given_stay(as_admin):
    group = Group.objects.create(name="wardens")
    odd = Permission.objects.get(codename="delete_pull")
    group.permissions.add(odd)
    offered = {
        right.codename
        for right in as_admin.get("/admin/auth/group/add/")
        .context["adminform"]
        .form.fields["permissions"]
        .queryset
    }
    assert {"view_pull", "view_line", "change_line", "delete_line"} <= offered
    assert {"delete_pull", "change_pull", "add_session", "view_contenttype"} & offered == set()
    view = Permission.objects.get(codename="view_pull")
    sent = {"name": "wardens", "permissions": [odd.pk, view.pk]}
    as_admin.post(f"/admin/auth/group/{group.pk}/change/", sent)
    assert set(group.permissions.all()) == {odd, view}


def test_a_token_and_a_second_factor_are_made_by_nobody_but_their_owner(as_admin, owner):
    secret = {"secret": "JBSWY3DPEHPK3PXP"}
    factor = Authenticator.objects.create(user=owner.user, type="totp", data=secret)
    token, _ = AuthToken.objects.create(owner.user)
    for made in (factor, token):
        assert as_admin.get(address(type(made), "add")).status_code == 403
        place = address(type(made), "changelist") + f"{made.pk}/"
        shown = as_admin.get(f"{place}change/")
        assert shown.status_code == 200
        assert secret["secret"] not in shown.content.decode()
        assert as_admin.post(f"{place}change/", {"user": 1}).status_code == 403
        assert as_admin.post(f"{place}delete/", {"post": "yes"}).status_code == 302
        assert not type(made).objects.filter(pk=made.pk).exists()
