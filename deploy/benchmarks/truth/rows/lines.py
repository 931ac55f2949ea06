"""Lines: testers on few products that differ, and the reference of two lines that are equal."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from deploy.benchmarks.truth.columns import members_of
from deploy.benchmarks.truth.hostile import World, draw, unit_loads
from deploy.benchmarks.truth.row import Measured, Rng, Row
from results.normalising.reference_line import Specimen, reference_of
from results.pools.estimate import pooled_from
from results.pools.line_products import line_products
from results.statistics.censored import Strength, strength
from rigs.models import Line

SESSIONS, PULLS = 3, 4
MAIN, LEADER = (Specimen(Line(pk=number, name=str(number)), "") for number in (1, 2))


def products(testers: int, lines: int, product_sd: float, rng: Rng) -> Measured:
    """Coverage of the mean, over all lines or over those that the page names, where few differ."""
    world = World(testers, products=lines, product_sd=product_sd)
    drawn = draw(rng, world)
    members = members_of(drawn)
    outcome = pooled_from(members)
    pooled = outcome.pooled
    if pooled is None:
        return
    true = float(np.log(world.efficiencies[0]))
    named = not line_products(members, outcome)["for_others"]
    pulled = true + float(drawn.of_product[members.main_line - 1].mean())
    yield "products are named", float(named)
    yield "mean over lines", float(pooled.ci_low <= true <= pooled.ci_high)
    held = pulled if named else true
    yield "mean over the lines it is for", float(pooled.ci_low <= held <= pooled.ci_high)
    yield "width of the mean, percent", 100 * (pooled.ci_high - pooled.ci_low)


def rounds(testers: int, clubs: int, round_sd: float, rng: Rng) -> Measured:
    """Coverage of the mean over all spools, where each club's testers pull from one."""
    world = World(testers, clubs=clubs, club_sd=round_sd)
    drawn = draw(rng, world)
    members = members_of(drawn)
    club_round = drawn.club[members.pull_set - 1] + 1
    true = float(np.log(world.efficiencies[0]))
    for name, known in (("the mean", club_round), ("the mean, rounds unknown", 0 * club_round)):
        pooled = pooled_from(replace(members, club_round=known)).pooled
        if pooled is not None:
            yield name, float(pooled.ci_low <= true <= pooled.ci_high)
            yield f"width of {name}, percent", 100 * (pooled.ci_high - pooled.ci_low)


def reference(cv: float, law: str, rng: Rng) -> Measured:
    """How much too high a join of two equal lines reads for the line it is measured against."""
    loads = unit_loads(rng, law, cv, SESSIONS * 2 * PULLS).reshape(SESSIONS, 2, PULLS)
    pulled = [
        {
            specimen: strength(of_line, np.zeros(PULLS, dtype=bool))
            for specimen, of_line in zip((MAIN, LEADER), session, strict=True)
        }
        for session in loads
    ]
    bias, other = [], []
    for number, straight in enumerate(pulled):
        rest = [each for place, each in enumerate(pulled) if place != number]
        usual = by_others(rest)
        chosen = reference_of(MAIN, LEADER, straight, {(1, 2): usual}).specimen
        mean = np.mean([each.mean_N for each in straight.values()])
        bias.append(100 * (np.log(mean) - np.log(straight[chosen].mean_N)))
        other.append(float(chosen.line.pk != usual))
    yield "bias, percent", float(np.mean(bias))
    yield "other line than usual", float(np.mean(other))


def by_others(straight: list[dict[Specimen, Strength]]) -> int:
    """The line that is weaker in other sessions, as `results.normalising.pair_evidence` has it."""
    ratios = [np.log(each[MAIN].mean_N / each[LEADER].mean_N) for each in straight]
    return 1 if sum(ratios) <= 0 else 2


ROWS = (
    *(
        Row(
            "lines differ",
            f"{testers} testers on {lines} products, sd {sd:.0%}",
            partial(products, testers, lines, sd),
            {"mean over the lines it is for": "94 to 96"},
        )
        for testers, lines, sd in (
            (10, 2, 0.03),
            (30, 3, 0.03),
            (10, 4, 0.03),
            (30, 6, 0.03),
            (30, 3, 0.0),
        )
    ),
    *(
        Row(
            "rounds on one spool each",
            f"{testers} testers in {clubs} rounds, sd {sd:.0%}",
            partial(rounds, testers, clubs, sd),
            {"the mean": "93 to 98"},
        )
        for testers, clubs, sd in ((10, 4, 0.03), (30, 4, 0.03), (30, 4, 0.0), (10, 3, 0.03))
    ),
    *(
        Row(
            "reference line of equal lines",
            f"4 pulls, CV {cv:.0%}, {law}",
            partial(reference, cv, law),
            {"bias, percent": "-0.2 to 0.2"},
        )
        for cv in (0.06, 0.10)
        for law in ("lognormal", "weibull")
    ),
)
