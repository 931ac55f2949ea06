"""Clubs, testers' public profiles, and oneself."""

from rigs.models import Club
from tests.api.documents import register
from tests.people import contributor


def test_me_is_the_tester_whose_token_it_is(as_owner, as_moderator):
    rig = register(as_owner)
    me = as_owner.get("/api/v1/me").json()
    assert (me["handle"], me["moderator"]) == ("owner", False)
    assert me["rigs"] == [{"id": rig["id"], "name": "bench"}]
    assert as_moderator.get("/api/v1/me").json()["moderator"] is True


def test_an_account_without_a_profile_gets_that_answer(admin_client):
    answer = admin_client.get("/api/v1/me")
    assert answer.status_code == 403
    assert "choose one on its page at /account/join/" in answer.json()["detail"]


def test_a_profile_shows_handle_club_and_rigs_but_no_address(owner, as_stranger):
    owner.user.email = "owner@example.org"
    owner.user.save()
    owner.club = Club.objects.create(name="Skerrow Bar Surf Club")
    owner.save()
    profile = as_stranger.get(f"/api/v1/contributors/{owner.pk}").json()
    assert (profile["handle"], profile["club"]) == ("owner", "Skerrow Bar Surf Club")
    assert "example.org" not in str(profile)


def test_a_closed_account_is_no_longer_listed(owner, other, as_stranger):
    other.user.is_active = False
    other.user.save()
    listed = as_stranger.get("/api/v1/contributors").json()["results"]
    assert [profile["handle"] for profile in listed] == ["owner"]


def test_clubs_count_their_members(owner, other, as_stranger):
    club = Club.objects.create(name="Lannet Estuary Anglers")
    club.members.set([owner, other])
    Club.objects.create(name="Upper Fold Pike Group")
    listed = as_stranger.get("/api/v1/clubs").json()["results"]
    assert [(c["name"], c["members"]) for c in listed] == [
        ("Lannet Estuary Anglers", 2),
        ("Upper Fold Pike Group", 0),
    ]


def test_people_are_listed_in_as_many_queries_however_many(
    db, as_stranger, django_assert_num_queries
):
    for number in range(4):
        contributor(f"tester {number}")
    with django_assert_num_queries(3):  # count, profiles with clubs, rigs
        assert as_stranger.get("/api/v1/contributors").json()["count"] == 4
    with django_assert_num_queries(1):  # count: no club, so no second
        as_stranger.get("/api/v1/clubs")
