"""One answer for each two joins: the list, the comparison, a pool's page, the API, what is wanted.

Read off the pages as a reader does, over the demo league, and over worlds in which figures and
direct comparisons are drawn at random, so that they contradict one another as often as not.
"""

import re
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest
from django.core.cache import caches
from django.test import Client
from django.urls import reverse

from results.models import DirectComparison, Pool, PoolVersion
from results.pages.pools.line_pair import query_of
from results.pools import selectors
from results.pools.figures import figures_of
from results.pools.join_contrasts import compare_joins
from results.pools.wanted import undecided

pytestmark = pytest.mark.usefixtures("planted_past")

Answer = tuple[str, frozenset[int], int | None]
"""Where it is said, of which pools, and which of them is clearly the stronger; None for neither."""
JOIN = r'href="/pools/(\d+)/"'


def text_at(address: str) -> str:
    answer = Client().get(address)
    assert answer.status_code == 200, address
    return " ".join(answer.content.decode().split())


def answers_of_list(page: str) -> Iterator[Answer]:
    """Joins of a line pair share a letter, or are all said to be alike, or else differ."""
    for section in re.findall(r'<section class="pair".*?</section>', page):
        rows: list[tuple[int, str, int, int]] = []
        for number, body in enumerate(re.findall(r"<tbody.*?</tbody>", section)):
            for row in re.findall(r'<tr> <th scope="row">.*?</tr>', body):
                letters = re.search(r'class="letters">(\w+)<', row)
                place = re.search(r"<span>place</span> (\d+)(?: to (\d+))?<", row)
                shared = f"{letters[1]}" if letters else "all"
                groups = {f"{number}{letter}" for letter in ([shared] if not letters else shared)}
                first, last = int(place[1]), int(place[2] or place[1])
                rows.append((int(re.search(JOIN, row)[1]), groups, first, last))
        for (one, groups, _, last), (other, others, first, _) in combinations(rows, 2):
            alike = bool(groups & others)
            yield "list", frozenset((one, other)), None if alike else one
            if last < first:
                yield "places of the list", frozenset((one, other)), one


def answers_of_contrasts(page: str, where: str) -> Iterator[Answer]:
    table = page.partition('id="contrasts-caption"')[2].partition("</table>")[0]
    for row in re.findall(r'<tr> <th scope="row">.*?</tr>', table):
        stronger, weaker = map(int, re.findall(JOIN, row))
        clear = "a clear difference" in row
        assert clear != ("not enough data to separate them" in row)
        yield where, frozenset((stronger, weaker)), stronger if clear else None


def answers_of_api(query: str) -> Iterator[Answer]:
    found = Client().get(f"{reverse('api:ranking')}?{query}").json()
    for each in found["conclusions"]:
        pair = frozenset((each["stronger"], each["weaker"]))
        yield "API, conclusions", pair, each["stronger"] if each["differs"] else None
        assert each["differs"] == (each["p_holm"] <= 0.05)
    for one, other in combinations(found["places"], 2):
        alike = bool(set(one["groups"]) & set(other["groups"]))
        pair = frozenset((one["pool"]["id"], other["pool"]["id"]))
        yield "API, groups", pair, None if alike else one["pool"]["id"]
    for each in ((found["direct"] or {}).get("figures") or {}).get("differences", []):
        alike = each["p_holm"] > 0.05
        yield "API, direct", frozenset((each["first"], each["second"])), None if alike else -1


def answers() -> Iterator[Answer]:
    """Everything that anything says of two joins; -1 that they differ, without saying how."""
    caches["kept"].clear()
    yield from answers_of_list(text_at("/"))
    for pool in selectors.pools():
        yield from answers_of_contrasts(text_at(f"/pools/{pool.pk}/"), "page of a pool")
    for query in sorted({query_of(pool) for pool in selectors.pools()}):
        yield from answers_of_contrasts(text_at(f"/compare/?{query}"), "comparison")
        yield from answers_of_api(query)
    for pair in undecided(10_000):
        yield "wanted", frozenset((pair.first.pk, pair.second.pk)), None


def chances_that_say_otherwise() -> Iterator[tuple[str, frozenset[tuple[int, int]], bool]]:
    """Of each line pair the joins whose chances are the other way round than the conclusion: as
    they follow from the API's figures, as its places name them, and as the page does."""
    for query in sorted({query_of(pool) for pool in selectors.pools()}):
        found = Client().get(f"{reverse('api:ranking')}?{query}").json()
        chance = {each["pool"]["id"]: each["chance"] for each in found["places"]}
        follow = {
            (each["weaker"], each["stronger"])
            for each in found["conclusions"]
            if each["differs"]
            and any(
                chance[each["stronger"]][name] < chance[each["weaker"]][name]
                for name in ("best", "better")
            )
        }
        named = {(one, other) for one in chance for other in chance[one]["contradicted_by"]}
        page = text_at(f"/compare/?{query}")
        said = {
            tuple(map(int, re.findall(JOIN, sentence)))
            for sentence in re.findall(r'<p class="otherwise">.*?</p>', page)
        }
        assert follow == named == said, query
        yield query, frozenset(follow), bool(chance)


def contradictions(said: list[Answer]) -> list[tuple[frozenset[int], dict[str, int | None]]]:
    by_pair: dict[frozenset[int], dict[str, int | None]] = {}
    for where, pair, stronger in said:
        by_pair.setdefault(pair, {})[where] = stronger
    return [
        (pair, found)
        for pair, found in by_pair.items()
        if len({each is None for each in found.values()}) > 1
        or len(set(found.values()) - {None, -1}) > 1
    ]


def drawn_at_random(rng: np.random.Generator) -> None:
    """Other figures and other differences, by other laws than anything here assumes."""
    for pool in Pool.objects.exclude(current__efficiency=None).select_related("current"):
        figures = pool.current.figures
        figures["mu"] = float(np.log(rng.uniform(0.6, 0.95)))
        figures["se_robust"] = float(rng.lognormal(-3.5, 0.8))
        figures["df_satterthwaite"] = float(rng.uniform(1.2, 12))
        efficiency = float(np.exp(figures["mu"]))
        PoolVersion.objects.filter(pk=pool.current_id).update(
            figures=figures, efficiency=efficiency
        )
    for comparison in DirectComparison.objects.exclude(figures={}):
        for each in comparison.figures["differences"]:
            each["difference"] = float(rng.normal(0, 0.15))
            reach = float(rng.lognormal(-2.5, 1))
            each["ci_low"], each["ci_high"] = each["difference"] - reach, each["difference"] + reach
            each["p"] = float(min(1.0, rng.exponential(0.05) if rng.random() < 0.7 else 0.6))
            each["p_holm"] = float(rng.random() ** 3)
        comparison.save()


def test_over_the_demo_league_every_page_and_answer_concludes_the_same_of_two_joins(kept):
    for pool in Pool.objects.exclude(current=None):
        compare_joins(pool.pk)
    said = list(answers())
    assert contradictions(said) == []
    assert any(ranked for _, _, ranked in chances_that_say_otherwise())
    clear = {where for where, _, stronger in said if stronger is not None}
    assert {"list", "comparison", "page of a pool", "API, conclusions", "API, groups"} <= clear


@pytest.mark.parametrize("seed", range(3))
def test_over_random_worlds_no_two_answers_contradict_each_other(kept, seed):
    drawn_at_random(np.random.default_rng(seed))
    said = list(answers())
    assert contradictions(said) == []
    assert len({pair for _, pair, _ in said}) >= 10


def test_chances_that_direct_comparisons_contradict_are_said_to_be_so(kept):
    for comparison in DirectComparison.objects.exclude(figures={}):
        for each in comparison.figures["differences"]:
            mu = [
                figures_of(Pool.objects.get(pk=each[name]).current).get("mu")
                for name in ("first", "second")
            ]
            if None not in mu:
                each["difference"] = mu[1] - mu[0]
                each["ci_low"], each["ci_high"] = (
                    each["difference"] + end for end in (-1e-6, 1e-6)
                )
                each["p"] = each["p_holm"] = 1e-9
        comparison.save()
    otherwise = [pairs for _, pairs, _ in chances_that_say_otherwise()]
    assert max(map(len, otherwise)) > 5
