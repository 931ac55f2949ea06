"""A pool says what line and join hold together, and beside it what the join itself holds."""

import numpy as np
import pytest
from django.urls import reverse

from results.jobs.stale_marks import mark
from results.models import PoolVersion, Pull
from results.pools.pool_data import members_of
from results.pools.reproduce import recomputed
from results.pools.two_estimands import by_one_model
from tests.api.leagues import league_parting_in_the_line

pytestmark = pytest.mark.usefixtures("planted_past")


@pytest.fixture
def parts_in_the_line(db):
    return league_parting_in_the_line(1.0)


def page_of(pool, client):
    answer = client.get(reverse("pages:pool", args=[pool.pk]))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_the_join_itself_stands_beside_what_line_and_join_hold(parts_in_the_line, client):
    pool = parts_in_the_line
    both = pool.current.findings["one_stage"]
    held, own = both["combination"], both["join"]
    assert held["pulls"] == held["exact"] == own["pulls"] == 80
    assert 20 < own["exact"] < 60
    assert held["efficiency"] == pytest.approx(pool.current.efficiency, abs=0.003)
    assert held["efficiency"] + 0.01 < own["efficiency"]
    assert own["interval_low"] < 1.0 < own["interval_high"]
    assert both["join_outlasts"] is None
    assert both["not_estimable"] == {}
    page = page_of(pool, client)
    assert f"The join itself holds <strong>{100 * own['efficiency']:.1f}" in page
    assert f"it parted in {own['exact']} of 80 pulls" in page
    assert f"hold <strong>{100 * held['efficiency']:.1f}" in page
    document = client.get(reverse("api:pool", args=[pool.pk])).json()
    assert document["findings"]["one_stage"] == both


def test_each_set_says_what_the_join_itself_holds_by_the_scatter_of_its_pool(
    parts_in_the_line, client
):
    pool = parts_in_the_line
    by_set = pool.current.findings["own_strengths"]

    assert len(by_set["pull_set"]) == len(by_set["efficiency"]) >= 8
    own = pool.current.findings["one_stage"]["join"]["efficiency"]
    assert np.exp(np.mean(np.log(by_set["efficiency"]))) == pytest.approx(own, abs=0.02)
    pk = by_set["pull_set"][0]
    document = client.get(reverse("api:pull-set", args=[pk])).json()
    shown = {name: column[0] for name, column in by_set.items() if name != "pull_set"}
    ends = {"low": shown["interval_low"], "high": shown["interval_high"]}
    assert document["own_strength"] == shown | {"interval": ends}
    page = " ".join(client.get(reverse("pages:pull-set", args=[pk])).content.decode().split())
    assert f"the join itself holds {100 * shown['efficiency']:.1f}% here" in page
    mark([pool.pk], "a set was withdrawn", takes_down=True)
    assert client.get(reverse("api:pull-set", args=[pk])).json()["own_strength"] is None
    page = client.get(reverse("pages:pull-set", args=[pk])).content.decode()
    assert "the join itself holds" not in page


def test_a_join_that_always_outlasts_its_line_has_a_lower_bound(db, client):
    pool = league_parting_in_the_line(1.6)
    both = pool.current.findings["one_stage"]
    assert both["join"] is None
    assert "0 of 80 pulls parted at the join" in both["not_estimable"]["join"]
    assert both["join_outlasts"] > 1.0
    assert both["combination"]["efficiency"] == pytest.approx(1.0, abs=0.02)
    page = page_of(pool, client)
    assert f"holds at least <strong>{100 * both['join_outlasts']:.1f}" in page
    assert "it parted in too few pulls for an estimate" in page


def test_where_nothing_is_pooled_nothing_is_said(db, client):
    pool = league_parting_in_the_line(1.0, testers=2)
    assert pool.current.findings["one_stage"] is None
    assert "The join itself" not in page_of(pool, client)


def test_computed_again_from_the_pulls_it_is_the_same(parts_in_the_line):
    found = recomputed(PoolVersion.objects.get(pk=parts_in_the_line.current.pk))
    assert found.differences == ()
    assert found.not_known == ()


def test_pulls_that_no_model_fits_leave_the_pool_its_figure(parts_in_the_line):
    members = members_of(parts_in_the_line.pk)
    Pull.objects.filter(baseline__isnull=False).update(failure_mode="grip")
    both = by_one_model(members)["one_stage"]
    assert both["combination"] is None
    assert both["join"] is None
    assert "parted in the line" in both["not_estimable"]["all"]
