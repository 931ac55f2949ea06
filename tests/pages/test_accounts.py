"""Accounts: joining under a licence, what is shown of oneself, tokens, a second factor, leaving."""

import base64
import time

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from django.contrib.auth.models import User
from django.test import Client
from knox.models import AuthToken

from results.accounts.close import close_account
from results.accounts.rename import rename
from results.intake.amend import withdraw
from results.models import PoolVersion, Session
from results.pages.drawn import on_white
from results.worker.embedded import drain
from rigs.models import Club, Contributor, RigRevision
from rigs.refusals import Conflict, Invalid
from tests import making
from tests.pages.conftest import pool_of
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.people import client_of

PASSWORD = "cork tape and a long line"
JOINING = {
    "handle": "Sandgrain",
    "username": "grain",
    "password1": PASSWORD,
    "password2": PASSWORD,
    "agreed": "on",
}


@pytest.fixture(autouse=True)
def unlimited(settings):
    """Attempts to sign in are limited by address, and all stories come from one."""
    settings.ACCOUNT_RATE_LIMITS = False


@pytest.fixture
def with_password(owner) -> Contributor:
    owner.user.set_password(PASSWORD)
    owner.user.save()
    return owner


def signed_in(name="owner", **more) -> tuple[Client, object]:
    client = Client()
    return client, client.post("/sign-in/", {"login": name, "password": PASSWORD, **more})


def code_now(secret: str) -> str:
    return format_hotp_value(hotp_value(secret, int(time.time()) // 30))


def test_who_joins_chooses_a_handle_and_agrees_to_the_licence(db):
    answer = Client().post("/sign-up/", JOINING)
    assert answer.headers["Location"] == "/bench/"
    joined = Contributor.objects.get()
    assert (joined.handle, joined.user.username) == ("Sandgrain", "grain")
    assert joined.licence == "CC-BY-4.0"
    assert joined.licence_agreed_at is not None


def test_the_licence_is_linked_where_it_is_agreed_to(db):
    page = Page(Client().get("/sign-up/"))
    assert "https://creativecommons.org/licenses/by/4.0/" in page.links()


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"agreed": ""}, "so your agreement is needed"),
        ({"handle": "OWNER"}, "Another contributor has this handle"),
        ({"handle": "former contributor 3"}, "which closed accounts have"),
        ({"handle": "<b>"}, "letters and digits"),
        ({"password2": "another one entirely"}, "same password"),
        ({"password1": "12345678", "password2": "12345678"}, "too common"),
        ({"username": "owner"}, "already exists"),
    ],
)
def test_what_keeps_one_from_joining_is_reported_and_nothing_is_stored(owner, changed, expected):
    answer = Client().post("/sign-up/", {**JOINING, **changed})
    assert expected in Page(answer).text
    assert (User.objects.count(), Contributor.objects.count()) == (1, 1)


def test_while_signing_up_is_closed_no_one_joins_and_the_page_says_what_to_do(db, settings):
    settings.SAMESPOOL_SIGN_UP = "closed"
    for answer in (Client().get("/sign-up/"), Client().post("/sign-up/", JOINING)):
        page = Page(answer)
        assert "Ask them for one" in page.text
        assert "/sign-in/" in page.links()
        assert page.all("input") == []
    assert not User.objects.exists()


def test_signing_in_leads_to_ones_bench_or_where_one_was_going(with_password):
    assert signed_in()[1].headers["Location"] == "/bench/"
    assert signed_in(next="/rigs/register/")[1].headers["Location"] == "/rigs/register/"


def test_a_wrong_password_is_reported_without_saying_whose(with_password):
    unknown = Client().post("/sign-in/", {"login": "nobody", "password": "guess"})
    wrong = Client().post("/sign-in/", {"login": "owner", "password": "guess"})
    assert "not correct" in Page(unknown).text
    assert Page(unknown).all("p", **{"class": "error"}) == Page(wrong).all(
        "p", **{"class": "error"}
    )


def test_guessing_a_password_is_stopped_after_a_few_attempts(with_password, settings):
    settings.ACCOUNT_RATE_LIMITS = {}
    for _ in range(6):
        Client().post("/sign-in/", {"login": "owner", "password": "guess"})
    assert "Too many" in Page(signed_in()[1]).text


def test_what_is_not_to_be_listed_is_on_neither_page_nor_profile(owner, as_stranger):
    owner.club = Club.objects.create(name="Skerrow Bar Surf Club")
    owner.save()
    making.revision_of(owner)
    answer = browser(owner).post("/account/", {"handle": "owner", "sets": "on"})
    assert answer.status_code == 302
    text = Page(Client().get("/contributors/owner/")).text
    assert "Skerrow" not in text
    assert "shed winch" not in text
    assert "Sets that count" in text
    profile = as_stranger.get(f"/api/v1/contributors/{owner.pk}").json()
    assert (profile["club"], profile["rigs"]) == (None, [])
    me = client_of(owner).get("/api/v1/me").json()
    assert (me["club"], me["shows_club"]) == ("Skerrow Bar Surf Club", False)


def test_an_account_from_before_the_licence_is_asked_once(owner):
    at_home = browser(owner)
    assert "I agree" in Page(at_home.get("/account/")).text
    at_home.post("/account/licence/")
    owner.refresh_from_db()
    agreed = owner.licence_agreed_at
    at_home.post("/account/licence/")
    owner.refresh_from_db()
    assert owner.licence_agreed_at == agreed
    assert "You agreed to CC-BY-4.0" in Page(at_home.get("/account/")).text


def test_a_token_is_shown_once_works_and_can_be_ended(owner, as_stranger):
    at_home = browser(owner)
    page = at_home.post("/account/tokens/").content.decode()
    token = page.split("<p><code>")[1].split("</code>")[0]
    as_stranger.credentials(HTTP_AUTHORIZATION=f"Token {token}")
    assert as_stranger.get("/api/v1/me").status_code == 200
    assert token not in at_home.get("/account/").content.decode()
    at_home.post(f"/account/tokens/{AuthToken.objects.get().digest}/end/")
    assert as_stranger.get("/api/v1/me").status_code == 401


def test_no_one_ends_a_token_of_someone_else(owner, other):
    stored, _ = AuthToken.objects.create(owner.user)
    assert browser(other).post(f"/account/tokens/{stored.digest}/end/").status_code == 404
    assert AuthToken.objects.exists()


def test_a_second_factor_is_set_up_and_then_asked_for(with_password):
    at_home, _ = signed_in()
    set_up = "/account/second-factor/set-up/"
    assert at_home.get(set_up).headers["Location"].startswith("/account/again/")
    at_home.post(f"/account/again/?next={set_up}", {"password": PASSWORD})
    page = Page(at_home.get(set_up))
    secret = page.all("input", id="authenticator_secret")[0]["value"]
    at_home.post(set_up, {"code": code_now(secret)})
    assert Authenticator.objects.filter(type="totp").count() == 1
    again, asked = signed_in()
    assert asked.headers["Location"] == "/sign-in/second-factor/"
    assert again.get("/bench/").headers["Location"].startswith("/sign-in/")
    again.post("/sign-in/second-factor/", {"code": code_now(secret)})
    assert again.get("/bench/").status_code == 200


def test_a_password_alone_gives_no_token_to_an_account_of_two_factors(with_password, as_stranger):
    basic = base64.b64encode(f"owner:{PASSWORD}".encode()).decode()
    as_stranger.credentials(HTTP_AUTHORIZATION=f"Basic {basic}")
    assert as_stranger.post("/api/v1/tokens").status_code == 201
    TOTP.activate(with_password.user, generate_totp_secret())
    assert as_stranger.post("/api/v1/tokens").status_code == 401


def test_a_moderator_needs_a_second_factor_to_come_to_the_desk(moderator, settings):
    settings.SAMESPOOL_TWO_FACTOR = True
    at_desk = browser(moderator)
    assert at_desk.get("/admin/").headers["Location"] == "/account/second-factor/set-up/"
    secret = generate_totp_secret()
    TOTP.activate(moderator.user, secret)
    again = at_desk.get("/admin/").headers["Location"]
    assert again == "/account/again/second-factor/?next=%2Fadmin%2F"
    assert at_desk.post(again, {"code": code_now(secret)}).headers["Location"] == "/admin/"
    assert at_desk.get("/admin/").status_code == 200


def test_the_admin_is_entered_by_the_same_door(db):
    answer = Client().get("/admin/", follow=True)
    assert answer.redirect_chain[-1][0].startswith("/sign-in/?next=")


def test_another_handle_stands_wherever_the_first_did(league, django_capture_on_commit_callbacks):
    tester = Contributor.objects.get(handle="tester 0")
    with django_capture_on_commit_callbacks(execute=True):
        rename(tester, "marsh heron")
    drain()
    version = pool_of("Blood").current
    assert "marsh heron" in version.forest_light
    answer = str(list(PoolVersion.objects.values_list("why", "forest_light", "forest_dark")))
    assert "tester 0" not in answer
    reasons = str(list(PoolVersion.objects.values_list("why", flat=True)))
    assert "was added" in reasons
    assert "marsh heron" not in reasons


def test_no_picture_keeps_the_handle_that_was_changed(league, django_capture_on_commit_callbacks):
    version = pool_of("Blood").current
    address = f"/pools/{version.pool_id}/forest.png"
    assert Client().get(address).content == on_white(version.forest_light)
    with django_capture_on_commit_callbacks(execute=True):
        rename(Contributor.objects.get(handle="tester 0"), "marsh heron")
    drain()
    again = pool_of("Blood").current
    assert again.pk == version.pk
    assert again.forest_light != version.forest_light
    assert Client().get(address).content == on_white(again.forest_light)


def test_a_handle_that_is_taken_or_none_changes_nothing(owner, other):
    for wrong, refusal in [("Other", Conflict), ("!", Invalid)]:
        with pytest.raises(refusal):
            rename(owner, wrong)
    assert Contributor.objects.get(pk=owner.pk).handle == "owner"
    answer = browser(owner).post("/account/", {"handle": "Other"})
    assert answer.status_code == 422
    assert "Another contributor has this handle" in Page(answer).text


def test_who_leaves_and_keeps_the_data_leaves_no_name_and_no_way_in(league):
    tester = Contributor.objects.get(handle="tester 0")
    tester.user.email = "tester@example.org"
    tester.user.save()
    RigRevision.objects.filter(rig__owner=tester).update(place="the old boathouse")
    client_of(tester)
    before = pool_of("Blood").current
    close_account(tester, keep=True)
    drain()
    after = pool_of("Blood").current
    assert (after.efficiency, after.testers) == (before.efficiency, before.testers)
    assert f"former contributor {tester.pk}" in after.forest_light
    tester.refresh_from_db()
    assert tester.handle == f"former contributor {tester.pk}"
    assert (tester.user.username, tester.user.email) == (f"former-{tester.user.pk}", "")
    assert not tester.user.is_active
    assert not AuthToken.objects.filter(user=tester.user).exists()
    assert not RigRevision.objects.filter(place="the old boathouse").exists()
    page = Page(Client().get(f"/contributors/former contributor {tester.pk}/"))
    assert "kept, without the name" in page.text


def test_who_leaves_and_withdraws_leaves_every_figure(league):
    tester = Contributor.objects.get(handle="tester 0")
    before = pool_of("Blood").current
    close_account(tester, keep=False)
    drain()
    after = pool_of("Blood").current
    assert after.testers == before.testers - 1
    assert set(tester.sessions.values_list("standing", flat=True)) == {"withdrawn"}


def test_an_account_is_closed_once_and_withdrawn_sessions_do_not_hinder_it(owner):
    first, second = (making.session(making.revision_of(owner, name=name)) for name in "ab")
    withdraw(first, owner, "the scale stuck")
    close_account(owner, keep=False)
    assert Session.objects.get(pk=first.pk).standing_reason == ""
    assert Session.objects.get(pk=second.pk).standing_reason == "The account was closed."
    with pytest.raises(Conflict):
        close_account(owner, keep=False)


def test_closing_takes_the_password_and_says_what_becomes_of_the_data(with_password):
    at_home = browser(with_password)
    assert "can't be undone" in Page(at_home.get("/account/close/")).text
    wrong = at_home.post("/account/close/", {"sessions": "keep", "password": "guess"})
    assert "This is not your password" in Page(wrong).text
    at_home.post("/account/close/", {"sessions": "keep", "password": PASSWORD})
    with_password.refresh_from_db()
    assert with_password.closed_at is not None
    assert at_home.get("/account/").headers["Location"].startswith("/sign-in/")
    assert "not correct" in Page(signed_in()[1]).text


def test_where_no_mail_is_sent_no_page_says_that_one_is_on_its_way(with_password, mailoutbox):
    at_home, _ = signed_in()
    asked = [{"action_add": "", "email": "owner@example.org"}]
    asked += [{"action_send": "", "email": "owner@example.org"}]
    for each in asked:
        said = Page(at_home.post("/account/mail/", each, follow=True)).text
        assert "This service sends no mail: the address stays unconfirmed." in said
        assert "on its way" not in said


PAGES = [
    "/account/",
    "/account/close/",
    "/account/password/",
    "/account/mail/",
    "/account/second-factor/",
    "/account/again/",
]


@pytest.mark.parametrize("address", PAGES)
def test_each_page_takes_few_queries_and_few_bytes(
    with_password, address, django_assert_max_num_queries
):
    at_home, _ = signed_in()
    with django_assert_max_num_queries(12):
        answer = at_home.get(address)
    assert answer.status_code == 200
    assert len(answer.content) < 150_000
    page = Page(answer)
    assert "eye protection" in page.text
    shown = [field for field in page.all("input") if field.get("type") != "hidden"]
    assert {field["id"] for field in shown} <= {label["for"] for label in page.all("label")}


def test_the_ways_of_leaving_are_offered_with_a_label_each(with_password):
    page = Page(browser(with_password).get("/account/close/"))
    ways = page.all("input", type="radio", name="sessions")
    assert [way["value"] for way in ways] == ["keep", "withdraw"]
    assert {way["id"] for way in ways} <= {
        label["for"] for label in page.all("label") if "for" in label
    }


def test_where_no_mail_is_sent_a_forgotten_password_is_not_promised_a_link(db):
    assert "/account/password/forgotten/" in Page(Client().get("/sign-in/")).links()
    assert "sends no email" in Page(Client().get("/account/password/forgotten/")).text
