"""An administrator makes a contributor, a moderator or both on one page."""

import re

import pytest
from django.contrib.auth.models import User
from django.test import Client

from rigs.models import Contributor
from rigs.permissions import is_moderator
from tests.people import contributor

PAGE = "/admin/people/"


def new(name: str, **chosen: str) -> dict[str, str]:
    return {"name": name, "email": "", "handle": "", **chosen}


@pytest.mark.parametrize(
    ("chosen", "has_bench", "decides"),
    [
        ({"contributor": "on", "handle": "Marsh Heron"}, True, False),
        ({"moderator": "on"}, False, True),
        ({"contributor": "on", "handle": "Marsh Heron", "moderator": "on"}, True, True),
    ],
)
def test_a_new_account_signs_in_with_the_password_shown_and_can_do_what_it_is_for(
    admin_client, settings, chosen, has_bench, decides
):
    settings.ACCOUNT_RATE_LIMITS = False
    page = admin_client.post(PAGE, new("heron", **chosen)).content.decode()
    [password] = re.findall(r"<code>(\w{20})</code>", page)
    assert "heron has:" in page
    assert ("<li>heron" in page) == decides
    theirs = Client()
    landed = theirs.post("/sign-in/", {"login": "heron", "password": password}, follow=True)
    assert landed.status_code == 200
    user = User.objects.get(username="heron")
    assert Contributor.objects.filter(user=user, handle="Marsh Heron").exists() == has_bench
    assert is_moderator(user) == decides
    assert (theirs.get("/admin/results/reviewcase/").status_code == 200) == decides
    assert not user.is_staff
    assert password not in admin_client.get(PAGE).content.decode()


def test_an_account_that_is_there_gets_what_it_lacks_and_keeps_its_password(admin_client, db):
    owner = contributor("owner")
    page = admin_client.post(PAGE, new("owner", contributor="on", moderator="on")).content.decode()
    assert "a moderator&#x27;s rights" in page
    assert "<code>" not in page
    owner.user.refresh_from_db()
    assert is_moderator(User.objects.get(pk=owner.user.pk))
    assert (
        "lacked nothing" in admin_client.post(PAGE, new("owner", moderator="on")).content.decode()
    )


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (new("heron"), "Choose what the account is for."),
        (new("heron", contributor="on", handle="!"), "This can&#x27;t be a handle."),
        (new("heron", contributor="on", handle="Owner"), "Another contributor has this handle."),
        (new("a b", moderator="on"), "This account can&#x27;t be made."),
        (new("heron", moderator="on", email="heron"), "Enter a valid email address."),
    ],
)
def test_what_cannot_be_made_is_said_at_its_field_and_nothing_is_stored(admin_client, sent, said):
    contributor("owner")
    answer = admin_client.post(PAGE, sent)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not User.objects.filter(username__in=["heron", "a b"]).exists()


def test_only_an_administrator_sees_the_page(as_owner, moderator):
    for user in (moderator.user, contributor("somebody").user):
        client = Client()
        client.force_login(user)
        assert client.get(PAGE).status_code == 403
        assert client.post(PAGE, new("heron", moderator="on")).status_code == 403
