"""One command makes a moderator who can do it all, whatever the account was before."""

import io

import pytest
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.test import Client

from deploy.demo.accounts import ADMINISTRATOR, MODERATOR, PASSWORD, make_accounts
from results.models import Connection
from rigs.models import Contributor
from rigs.permissions import MODERATORS, is_moderator
from tests.pages.reading import Page
from tests.people import client_of, contributor
from tests.stories.test_review import held, league  # noqa: F401  (fixtures)
from tests.stories.test_review_desk import page_of

DESK = "/admin/results/reviewcase/"


@pytest.fixture(autouse=True)
def unlimited(settings):
    settings.ACCOUNT_RATE_LIMITS = False


def make(name: str, *more: str) -> str:
    said = io.StringIO()
    call_command("make_moderator", name, *more, stdout=said)
    return said.getvalue()


def with_handle() -> None:
    contributor("benchwarden")


def without_handle() -> None:
    User.objects.create_user("benchwarden")


def administrator() -> None:
    User.objects.create_superuser("benchwarden")


@pytest.mark.parametrize("before", [with_handle, without_handle, administrator])
def test_whatever_the_account_was_it_decides_at_the_desk_and_adds_to_the_catalogue(
    before,
    held,  # noqa: F811
):
    before()
    said = make("benchwarden")
    assert "is a moderator. Given: " in said
    assert DESK in said
    person = Contributor.objects.get(user__username="benchwarden")
    at_desk = Client()
    at_desk.force_login(person.user)
    assert DESK in Page(at_desk.get("/bench/")).links()
    assert at_desk.get("/admin/").status_code == 200
    page = Page(at_desk.get(page_of(held)))
    [version] = page.all("input", name="version")
    decided = {"decision": "release", "reason": "A splice.", "version": version["value"]}
    assert at_desk.post(page_of(held), decided).headers["Location"] == DESK
    held.refresh_from_db()
    assert held.state == "released"
    answer = {"name": "Nail tie", "kind": "line to line"}
    assert client_of(person).post("/api/v1/connections", answer, format="json").status_code == 201
    assert Connection.objects.get(name="Nail tie").accepted


def test_a_second_time_it_changes_nothing(db):
    without_handle()
    make("benchwarden")
    before = list(User.objects.values()), list(Contributor.objects.values())
    assert "Nothing was lacking." in make("benchwarden")
    assert (list(User.objects.values()), list(Contributor.objects.values())) == before


def test_the_next_steps_name_the_second_factor_while_it_is_missing(db, settings):
    settings.SAMESPOOL_TWO_FACTOR = True
    without_handle()
    assert "/account/second-factor/set-up/" in make("benchwarden")
    TOTP.activate(User.objects.get(), generate_totp_secret())
    assert "/account/second-factor/set-up/" not in make("benchwarden")


@pytest.mark.parametrize(
    ("name", "more", "expected"),
    [
        ("nobody", (), "No account signs in as 'nobody'"),
        ("closed", (), "closed or switched off"),
        ("under_score", (), "Another contributor has this handle"),
        ("a", (), "2 to 40 letters"),
        ("a", ("--handle", "under_score"), "Another contributor has this handle"),
    ],
)
def test_what_it_cannot_do_it_tells_with_a_way_out_and_changes_nothing(db, name, more, expected):
    contributor("Under_Score")
    User.objects.create_user("closed", is_active=False)
    for each in ("under_score", "a"):
        User.objects.create_user(each)
    with pytest.raises(CommandError, match=expected):
        make(name, *more)
    assert not User.objects.filter(groups__name=MODERATORS).exists()
    assert Contributor.objects.count() == 1


def test_of_the_demo_everybody_lands_on_a_page_of_theirs_and_the_moderator_can_decide(
    held,  # noqa: F811
):
    make_accounts({"sandgrain": "Skerrow Bar Surf Club"})
    landed = {}
    for name in ("sandgrain", MODERATOR, ADMINISTRATOR):
        client = Client()
        given = {"login": name, "password": PASSWORD}
        answer = client.post("/sign-in/", given, follow=True)
        assert answer.status_code == 200
        landed[name] = answer.redirect_chain[-1][0]
        if name != "sandgrain":
            page = Page(client.get(page_of(held)))
            assert (page.all("input", type="submit", value="Send") != []) == (name == MODERATOR)
    assert landed == {"sandgrain": "/bench/", MODERATOR: "/bench/", ADMINISTRATOR: "/admin/"}


def test_a_store_of_an_earlier_demo_gets_what_its_moderator_lacked(db):
    make_accounts({})
    User.objects.get(username=MODERATOR).groups.clear()
    make_accounts({})
    assert is_moderator(User.objects.get(username=MODERATOR))


def test_who_looks_on_at_the_desk_is_offered_no_decision_and_shown_how_to_get_it(
    admin_client,
    held,  # noqa: F811
):
    page = Page(admin_client.get(page_of(held)))
    assert "Only a moderator can decide" in page.text
    assert "make_moderator" in page.text
    assert page.all("textarea") == []
    assert Page(admin_client.get(DESK)).all("select", name="action") == []


def test_a_moderator_is_not_offered_to_decide_on_a_set_of_their_own(owner, held):  # noqa: F811
    make("owner")
    client = Client()
    client.force_login(owner.user)
    page = Page(client.get(page_of(held)))
    assert "your own submission" in page.text
    assert page.all("textarea") == []


def test_a_decision_that_would_change_nothing_is_not_offered(moderator, held):  # noqa: F811
    make("moderator")
    client = Client()
    client.force_login(moderator.user)
    offered = [each["value"] for each in Page(client.get(page_of(held))).all("input", type="radio")]
    assert offered == ["release", "reject", "ask"]
