"""My tying as pictures, and the planner's figures against those of the statistics."""

import math
import re
from types import SimpleNamespace
from typing import Any

import pytest

from results.models import Pool
from results.pages.bench.tying_pictures import WIDTH, curve_of, standing_of
from results.pools.advice import pull_again
from results.pools.session_planning import plan_sessions
from results.pools.tester_vs_pool import compare_with_pool
from results.statistics.planning import difference_detectable_by_sessions
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.stories.test_review import HONEST_N, league, send  # noqa: F401  (a fixture)

pytestmark = pytest.mark.django_db


@pytest.fixture
def standing(league, owner, settings):  # noqa: F811
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}
    pull_set = send(owner, [load - 9 for load in HONEST_N])
    return compare_with_pool(owner, pull_set.normalised.pool)


def test_the_page_shows_own_sets_on_the_pools_strip_and_plans_what_is_entered(standing, owner):
    at_home = browser(owner)
    page = at_home.get("/bench/tying/").content.decode()
    assert page.index("Your sets on the range expected of a tester") < page.index("Plan your")
    pool = Page(at_home.get("/bench/tying/")).all("option")[0]["value"]
    asked = {"join": pool, "difference": "8", "pulls": "6", "sessions": "5"}
    planned = Page(at_home.get("/bench/tying/", asked)).text
    assert "5 sessions with 6 pulls a set detect a difference of" in planned
    wrong = Page(at_home.get("/bench/tying/", asked | {"pulls": "0"})).text
    assert "greater than or equal to 2" in wrong

    pictured = standing_of(standing, [0.7, 0.72])
    assert len(pictured.sets) == 2
    assert all(0 <= x <= WIDTH for x in (*pictured.sets, pictured.own, pictured.others))
    assert pictured.own < pictured.others

    plan = plan_sessions(standing, difference=0.08, pulls=6, sessions=5)
    by_hand = difference_detectable_by_sessions(
        5,
        type(standing.planned_by)(**{**vars(standing.planned_by), "pulls": 6}),
        standing.others.se_robust,
        standing.others.df_satterthwaite,
    )
    assert math.isclose(plan.detectable, by_hand)
    curve = curve_of(plan)
    assert len(curve.points.split()) == len(plan.curve)


ANSWER = (
    r"a difference of {difference}% (can't be detected until|takes \d+ sessions? in all, "
    r"(?:which you have|\d+ more than you have))"
)


def test_there_is_one_answer_to_how_many_sessions_a_difference_takes(standing, owner):
    """On the join's own facts and in the planner, at whatever pulls a set one has."""
    at_home = browser(owner)
    form = Page(at_home.get("/bench/tying/"))
    pool = form.all("option")[0]["value"]
    pulls = next(each["value"] for each in form.all("input") if each["name"] == "pulls")
    for difference in ("5.0", "10.0"):
        asked = {"join": pool, "difference": difference, "pulls": pulls, "sessions": "4"}
        text = Page(at_home.get("/bench/tying/", asked)).text
        said = re.findall(ANSWER.format(difference=difference), text)
        assert len(said) == 2
        assert len(set(said)) == 1


def test_no_session_is_advised_that_gains_nothing():
    def known(now: float, then: float) -> Any:
        return SimpleNamespace(detectable=now, detectable_next=then)

    pools = [Pool(pk=number) for number in range(4)]
    figures = [(0.143, 0.142), (0.118, 0.118), (0.054, 0.049), (0.2, 0.15)]
    advised = pull_again([(pool, known(*each)) for pool, each in zip(pools, figures, strict=True)])
    assert [each.pool.pk for each in advised] == [3, 2], (
        "the others lower it by less than a twentieth"
    )
