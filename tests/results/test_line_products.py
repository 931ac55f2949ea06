"""A pool says which line products its figure is for, and fits what they differ by where it can."""

import numpy as np
import pytest
from django.urls import reverse

from results.models import Pool, PoolVersion
from results.pools.estimate import LINE_PRODUCT
from results.pools.pool_data import members_of
from results.pools.reproduce import recomputed
from results.worker import embedded
from tests.api.leagues import send
from tests.people import contributor

STRENGTHS_N = {"first": 80.0, "second": 92.0, "third": 70.0}


def pool_on(lines: dict[str, int]) -> Pool:
    """So many testers on each of the lines, whose joins differ in strength."""
    rng = np.random.default_rng(5)
    for line, testers in lines.items():
        for number in range(testers):
            person = contributor(f"{line} {number}")
            send(person, rng, "Blood", STRENGTHS_N[line], line=line)
    embedded.drain()
    return Pool.objects.get()


def page_of(pool: Pool, client) -> str:
    answer = client.get(reverse("pages:pool", args=[pool.pk]))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


@pytest.mark.django_db
def test_two_products_are_named_as_those_the_figure_is_for(client):
    pool = pool_on({"first": 2, "second": 2})
    version = pool.current
    said = version.findings["line_products"]
    assert "crossed" not in version.figures
    assert (said["number"], said["for_others"]) == (2, False)
    sets = members_of(pool.pk)
    assert {each["main_line"] for each in said["products"]} == set(sets.main_line.tolist())
    assert all(each["testers"] == each["sets"] == 2 for each in said["products"])
    page = page_of(pool, client)
    assert "The figure is for these 2 pairs of line products alone" in page
    assert "first to thick nylon" in page
    assert "second to thick nylon" in page
    document = client.get(reverse("api:pool", args=[pool.pk])).json()
    assert document["findings"]["line_products"] == said


@pytest.mark.django_db
def test_three_products_of_several_testers_each_widen_the_interval_by_what_they_differ(
    client, settings
):
    # The products differ by so much that their sets would wait for a second look.
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}
    pool = pool_on({"first": 3, "second": 2, "third": 2})
    version = pool.current
    crossed = version.figures["crossed"][LINE_PRODUCT]
    assert crossed["levels"] == 3
    assert 0.05 < crossed["tau2"] ** 0.5 < 0.3
    assert LINE_PRODUCT in version.figures["fitted"]
    assert version.figures["df_satterthwaite"] == 2
    assert version.interval_low < 0.72
    assert version.interval_high > 0.88
    assert version.findings["line_products"]["for_others"]
    page = page_of(pool, client)
    assert "also others than the 3 products that were pulled" in page
    assert "The figure is for these" not in page


@pytest.mark.django_db
def test_computed_again_from_the_pulls_it_is_the_same():
    pool_on({"first": 3, "second": 2, "third": 2})
    for version in PoolVersion.objects.all():
        assert recomputed(version).differences == ()
