"""Story 13: why did it change? Dated versions, what came and went, by which decision."""

from django.test import Client

from results.models import Pool, PullSet
from results.review import decisions
from results.worker.embedded import drain
from tests.pages.conftest import pool_of


def test_a_version_names_the_sets_that_left_and_the_decision_that_took_them_out(
    league, moderator, read
):
    taken_out = PullSet.objects.filter(connection__name="Blood").first()
    decisions.decide(by=moderator.user, pull_set=taken_out, decision="hold", reason="Which scale?")
    drain()
    pool = Pool.objects.select_related("current").get(pk=pool_of("Blood").pk)
    page = read(f"/pools/{pool.pk}/versions/{pool.current.number}/")
    text = page.text
    assert f"{100 * pool.current.efficiency:.1f}%" in text
    row = text[text.index("Sets added and removed") :]
    assert f"{taken_out.session.contributor.handle}, " in row
    assert "removed" in row
    assert "held" in row
    assert "Which scale?" not in row
    assert f"/pull-sets/{taken_out.pk}/" in page.links()
    assert f"/pools/{pool.pk}/versions/{pool.current.number - 1}/" in page.links()


def test_the_first_version_names_all_the_sets_it_was_made_of(league, read):
    pool = pool_of("Blood")
    page = read(f"/pools/{pool.pk}/versions/1/")
    for pull_set in PullSet.objects.filter(connection__name="Blood"):
        assert f"/pull-sets/{pull_set.pk}/" in page.links()
    answer = Client().get(f"/pools/{pool.pk}/versions/1/")
    assert answer.content.count(b"<td>added</td>") == 4


def test_a_version_that_never_was_is_not_found(league):
    assert Client().get(f"/pools/{pool_of('Blood').pk}/versions/99/").status_code == 404
