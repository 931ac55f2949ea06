"""A league small enough to look at: two joins that differ, two alike, and one tied by two alone."""

import pytest
from django.db import transaction
from django.test import Client

from results.models import Pool
from tests.api.leagues import league_of, send
from tests.pages.reading import Page
from tests.people import contributor


@pytest.fixture(scope="module")
def once(django_db_setup, django_db_blocker):
    """Four testers pull Blood, Surgeon's and Double uni; two more pull an Albright.

    One league for all the stories of a file; what a story changes of it is undone after it.
    """

    def before(rng):
        for number in range(2):
            send(contributor(f"newcomer {number}"), rng, "Albright", 70.0)

    strengths_N = {"Blood": 86.0, "Double uni": 85.0, "Surgeon's": 55.0}
    with django_db_blocker.unblock(), transaction.atomic():
        yield league_of(strengths_N, testers=4, before=before)
        transaction.set_rollback(True)


@pytest.fixture
def league(once, db) -> list:
    return once


@pytest.fixture
def read():
    """Read the page at an address, as a stranger or signed in as somebody."""

    def read(address, status=200, by=None, **asked) -> Page:
        client = Client()
        if by is not None:
            client.force_login(by.user, backend="django.contrib.auth.backends.ModelBackend")
        response = client.get(address, asked)
        assert response.status_code == status
        return Page(response)

    return read


def pool_of(tie: str) -> Pool:
    return Pool.objects.select_related("current").get(connection__name=tie)
