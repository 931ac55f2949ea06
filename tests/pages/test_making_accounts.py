"""An administrator makes a contributor, a moderator or both on one page."""

import re
from html import unescape

import pytest
from django.contrib.auth.models import User
from django.test import Client

from rigs.models import Club, Contributor
from rigs.permissions import is_moderator
from tests.people import contributor
from tests.walking import Seen

PAGE = "/admin/people/"


def new(name: str, **chosen: str) -> dict[str, str]:
    """What the form sends; of a moderator after it has asked whether that is meant."""
    sure = {"sure": "yes"} if "moderator" in chosen else {}
    return {"name": name, "email": "", "handle": "", **sure, **chosen}


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


def test_making_a_moderator_is_asked_about_first_and_nothing_is_done_until_then(admin_client, db):
    owner = contributor("owner")
    first = new("owner", moderator="on")
    del first["sure"]
    page = admin_client.post(PAGE, first).content.decode()
    assert "Make owner a moderator?" in page
    assert "There is no account of that name" not in page
    mistyped = admin_client.post(PAGE, {**first, "name": "onwer"}).content.decode()
    assert "Make onwer a moderator?" in mistyped
    assert "There is no account of that name: a new one will be made." in mistyped
    assert not is_moderator(User.objects.get(pk=owner.user.pk))
    [form] = [each for each in Seen(PAGE, page).forms if each.action.endswith(PAGE)]
    assert ("sure", "yes") in form.as_shown()
    admin_client.post(PAGE, {**first, "sure": "yes"})
    assert is_moderator(User.objects.get(pk=owner.user.pk))


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


def test_a_club_is_named_in_words_and_its_member_sets_up_a_round(admin_client, db):
    """Of a new account, of one that is there, and on the library's form; no number is typed."""
    admin_client.post(PAGE, new("heron", contributor="on", handle="Heron", club="Harbour Club"))
    owner = contributor("owner")
    theirs = Client()
    theirs.force_login(owner.user)
    assert (
        "A club that is new here is entered by the person who runs this service"
        in theirs.get("/rounds/").content.decode()
    )
    said = admin_client.post(PAGE, new("owner", club="harbour club")).content.decode()
    assert "membership of Harbour Club" in said
    assert Club.objects.get().members.count() == 2
    assert "Set up a round of Harbour Club" in theirs.get("/rounds/").content.decode()
    form = admin_client.get(f"/admin/rigs/contributor/{owner.pk}/change/").content.decode()
    assert re.search(r"<option value=.\d+. selected>Harbour Club</option>", form)
    assert admin_client.post(PAGE, new("ghost", club="Harbour Club")).status_code == 422
    assert not User.objects.filter(username="ghost").exists()


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


@pytest.mark.parametrize(
    "looked_for_at", ["/admin/", "/admin/auth/user/add/", "/admin/auth/user/{}/change/", "/bench/"]
)
def test_the_one_form_is_found_where_one_looks_and_says_what_makes_a_moderator(
    admin_client, admin_user, looked_for_at
):
    Contributor.objects.create(user=admin_user, handle="the keeper")
    page = unescape(admin_client.get(looked_for_at.format(admin_user.pk)).content.decode())
    assert f'href="{PAGE}"' in page
    assert "a moderator's by the group" in unescape(admin_client.get(PAGE).content.decode())
    assert looked_for_at == "/bench/" or "a moderator's by the group" in page


def test_a_profile_is_made_for_an_account_by_the_name_it_signs_in_by(admin_client, db):
    there = User.objects.create_user("newtester")
    taken = contributor("owner").user
    add = "/admin/rigs/contributor/add/"
    assert "Sign-in name" in admin_client.get(add).content.decode()
    for wrong in (str(there.pk), taken.username, "none such"):
        answer = admin_client.post(add, {"user": wrong, "handle": "Heron"})
        assert "No account signs in by this name" in answer.content.decode()
    assert admin_client.post(add, {"user": "newtester", "handle": "Heron"}).status_code == 302
    made = Contributor.objects.get(handle="Heron")
    assert made.user == there
    page = f"/admin/rigs/contributor/{made.pk}/change/"
    assert admin_client.post(page, {"user": taken.username, "shows_sets": "on"}).status_code == 302
    made.refresh_from_db()
    assert made.user == there
