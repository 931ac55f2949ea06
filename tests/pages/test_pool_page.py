"""One pool: the figure, how sure it is, how much testers differ, and the sets behind it."""

import numpy as np
import pytest
from django.test import Client

from results.intake import amend
from results.jobs.queue import enqueue
from results.models import Pool, PullSet
from results.review import decisions
from results.statistics.planning import narrowing_by_a_tester
from results.worker.embedded import drain
from tests import making
from tests.api.leagues import send
from tests.pages.conftest import pool_of
from tests.pages.reading import Page
from tests.people import contributor


def address(tie: str) -> str:
    return f"/pools/{pool_of(tie).pk}/"


def test_the_figures_are_those_of_the_api_in_words_with_each_statistic_named(league, read):
    pool = pool_of("Blood")
    answer = Client().get(f"/api/v1/pools/{pool.pk}").json()
    current, figures = answer["current"], answer["figures"]
    text = read(address("Blood")).text
    low, high = current["interval"]["low"], current["interval"]["high"]
    interval = f"{100 * low:.1f} to {100 * high:.1f}%"
    df = figures["df_satterthwaite"]
    assert f"95% interval, CR2, {df:.1f} degrees of freedom: {interval}" in text
    prediction = current["prediction"]
    ahead = f"{100 * prediction['low']:.1f} to {100 * prediction['high']:.1f}%"
    averaged = "averaged over the likely variance between testers"
    assert f"95% prediction interval, {averaged}: {ahead}" in text
    assert f"τ tester {100 * figures['tau2_tester'] ** 0.5:.1f}%" in text
    assert f"I² {100 * figures['I2_total']:.0f}%" in text
    assert f"Q {figures['Q']:.1f} on {figures['Q_df']} degrees of freedom" in text


def test_it_opens_with_what_it_keeps_what_to_expect_and_how_sure_that_is(league, read):
    version = pool_of("Blood").current
    text = read(address("Blood")).text
    low, high = f"{100 * version.interval_low:.1f}%", f"{100 * version.interval_high:.1f}%"
    kept = f"a line with this join holds {100 * version.efficiency:.1f}% of what the same line"
    expected = (
        f"expect a set of yours to average {100 * version.prediction_low:.1f} to "
        f"{100 * version.prediction_high:.1f}%"
    )
    places = [text.index(each) for each in (kept, expected, f"puts it between {low} and {high}")]
    assert places == sorted(places)
    assert places[-1] < text.index("The worst case")
    assert "provisional: few testers yet" in text


@pytest.mark.parametrize(("testers", "by"), [(2, 0.72), (3, 0.36), (5, 0.15), (10, 0.06)])
def test_one_more_tester_narrows_the_mean_as_student_has_it(testers, by):
    """t(0.975) of a printed table: 12.706, 4.303, 3.182, 2.776, 2.571, 2.262, 2.228."""
    assert narrowing_by_a_tester(testers) == pytest.approx(by, abs=0.005)


@pytest.mark.parametrize("written", ["40 lbf", "18 kg", "180 N"])
def test_a_reader_sees_the_loads_of_their_own_line_in_the_unit_they_wrote(league, read, written):
    version = pool_of("Blood").current
    strength, unit = float(written.split()[0]), {"18 kg": "kgf"}.get(written, written.split()[1])
    text = read(address("Blood"), strength=written).text
    held, shown = text.split("On average it holds")[1].split()[:2]
    assert float(held) == pytest.approx(strength * version.efficiency, rel=0.005)
    assert shown == unit


@pytest.mark.parametrize(
    "written", ["strong", "40", "-3 N", "0 N", "nan N", "1e400 lbf", "1.7e308 N", "1e-320 N"]
)
def test_a_strength_that_is_none_is_refused_with_what_is_expected(league, read, written):
    text = read(address("Blood"), strength=written).text
    assert "xpected" in text
    assert "On average it holds" not in text


def test_the_plot_comes_for_light_and_dark_with_a_table_of_the_sets_behind_it(league, read):
    page = read(address("Blood"))
    dark, light = page.all("source")[0], page.all("img")[0]
    assert dark["media"] == "(prefers-color-scheme: dark)"
    assert dark["srcset"].startswith(f"{address('Blood')}forest-dark.svg")
    assert light["src"].startswith(f"{address('Blood')}forest.svg")
    assert light["alt"]
    sets = PullSet.objects.filter(connection__name="Blood")
    assert sets.count() == 4
    for pull_set in sets:
        assert f"/pull-sets/{pull_set.pk}/" in page.links()
        assert f"{100 * pull_set.normalised.efficiency:.1f}%" in page.text


def test_below_three_testers_the_sets_are_shown_and_nothing_is_pooled(league, read):
    page = read(address("Albright"))
    assert "too few testers: 2 of 3" in page.text
    assert "What the figures say" not in page.text
    assert "of the straight line's strength" not in page.text
    assert "newcomer 0" in page.text
    assert "newcomer 1" in page.text


def test_it_says_how_often_the_join_outlasted_the_line(db, owner, read):
    revision = making.revision_of(owner)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    modes = ["line", "line", "line", "join", "slip", "void"]
    pull_set = making.joined(session, main, leader, [99, 98, 101, 95, 90, 97], modes, tie="Nail")
    enqueue(session)
    drain()
    text = read(f"/pools/{pull_set.normalised.pool_id}/").text
    assert "In 3 of 5 pulls the join held until something else gave way" in text
    assert "3 in the line, 1 at the join, 1 slipped, 1 void" in text


@pytest.mark.parametrize(
    ("modes", "said", "not_said"),
    [
        (["line"] * 4 + ["join"], "It failed too seldom", "reads low"),
        (["line"] * 2 + ["join"] * 3, "A figure of one set reads low", "too seldom"),
        (["join"] * 5, "held until something else gave way in 0 of 5 pulls", "reads low"),
    ],
)
def test_the_sets_page_says_what_one_set_can_say_of_the_join_itself(
    db, owner, read, modes, said, not_said
):
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    pull_set = making.joined(session, main, leader, [99, 98, 96, 95, 92], modes, tie="Nail")
    enqueue(session)
    drain()
    text = read(f"/pull-sets/{pull_set.pk}/").text
    assert said in text
    assert not_said not in text


def test_its_history_says_when_it_changed_and_why(league, moderator, read):
    pool = pool_of("Blood")
    before = pool.current
    taken_out = PullSet.objects.filter(connection__name="Blood").first()
    decisions.decide(by=moderator.user, pull_set=taken_out, decision="hold", reason="Which scale?")
    drain()
    after = Pool.objects.get(pk=pool.pk).current
    assert after.number == before.number + 1
    text = read(address("Blood")).text
    newest = text[text.index("History") :]
    assert f"{100 * after.efficiency:.1f}%" in newest
    assert "3 sets, 1 removed" in newest
    assert f"on set {taken_out.pk}: hold" in newest
    assert "Which scale?" not in newest


def test_a_pool_whose_sets_were_all_withdrawn_says_so(db, owner, read):
    pull_set = send(owner, np.random.default_rng(1), "Nail", 80.0)
    drain()
    pool = pool_of("Nail")
    amend.withdraw(pull_set.session, owner, "wrong rig")
    drain()
    page = read(f"/pools/{pool.pk}/")
    assert "too few testers: 0 of 3" in page.text
    assert "No set counts at present." in page.text
    assert page.all("img") == []


def test_a_large_pool_takes_few_queries_and_few_bytes_and_pages_its_sets(
    db, owner, django_assert_max_num_queries
):
    revision = making.revision_of(owner)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    session = making.session(revision)
    making.straight(session, main)
    rng = np.random.default_rng(5)
    for _ in range(230):
        making.joined(session, main, leader, rng.normal(80, 4, 3), tie="Nail")
    for number in range(3):
        send(contributor(f"further {number}"), rng, "Nail", 80.0)
    enqueue(session)
    drain()
    pair = "main=nylon+monofilament&leader=nylon+monofilament"
    of_pool = address("Nail")
    for part in (f"{of_pool}versions/1/", f"/compare/?{pair}", f"/lines/{main.pk}/", of_pool):
        with django_assert_max_num_queries(17):
            response = Client().get(part)
        assert response.status_code == 200
        assert len(response.content) < 150_000
    page = Page(response)
    assert len([link for link in page.links() if link.startswith("/pull-sets/")]) == 100
    assert "page 1 of 3" in page.text


@pytest.mark.parametrize("part", ["", "forest.svg", "forest-dark.svg", "forest.png"])
def test_a_pool_that_does_not_exist_is_not_found(db, part):
    assert Client().get(f"/pools/404/{part}").status_code == 404
