"""A contributor's page: club, rigs, and the sets that count."""

import numpy as np
from django.test import Client

from results.worker.embedded import drain
from rigs.models import Club
from tests import making
from tests.api.leagues import send


def test_it_shows_club_rigs_and_the_sets_that_count(db, owner, read):
    owner.club = Club.objects.create(name="Skerrow Bar Surf Club")
    owner.save()
    pull_set = send(owner, np.random.default_rng(1), "Blood", 80.0)
    drain()
    page = read("/contributors/owner/")
    assert "Skerrow Bar Surf Club" in page.text
    assert f"rig {owner.rigs.get().pk}" in page.text
    assert "bench 0" not in page.text
    making.accept("rig", "bench 0")
    assert "bench 0" in read("/contributors/owner/").text
    assert f"/pull-sets/{pull_set.pk}/" in page.links()
    pull_set.refresh_from_db()
    assert f"{100 * pull_set.normalised.efficiency:.1f}%" in page.text


def test_it_is_found_however_the_handle_is_written(db, owner, read):
    assert "owner" in read("/contributors/OWNER/").text


def test_it_takes_few_queries_and_few_bytes_however_much_was_pulled(
    db, owner, django_assert_max_num_queries
):
    rng = np.random.default_rng(1)
    for number in range(70):
        send(owner, rng, f"tie {number}", 80.0)
    drain()
    with django_assert_max_num_queries(12):
        response = Client().get("/contributors/owner/")
    assert len(response.content) < 150_000
    assert b"Older sets are in their pools." in response.content


def test_no_one_of_that_name_is_not_found(db, read):
    read("/contributors/nobody/", status=404)
