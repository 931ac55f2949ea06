"""New versions of a round's report, where what it was computed from has changed since."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Count, Exists, OuterRef, Sum
from django.db.models.functions import Coalesce

from results.models import Job, LotPull, RoundReport, RoundSet, Session
from results.rounds.moved_scores import moved_scores

State = RoundReport.State
WITHDRAWN, CORRECTED, ADDED, RECALCULATED = "withdrawn", "corrected", "added", "recalculated"
PULLED_AGAIN = "pulled again"


def outdated() -> tuple[list[RoundReport], list[RoundReport]]:
    """The newest reports whose sets have changed, and those whose sets were worked out again.

    Of the latter the figures may still be the same. A report's spools may have been pulled again,
    too. Three queries, however many rounds there are.
    """
    newer = RoundReport.objects.filter(round=OuterRef("round"), number__gt=OuterRef("number"))
    newest = RoundReport.objects.filter(~Exists(newer), state=State.MADE)
    worked_out = Job.objects.filter(
        session__pull_sets__in_round__specimen__participant__round=OuterRef("round"),
        state=Job.State.DONE,
        finished_at__gt=Coalesce(OuterRef("held_at"), OuterRef("made_at")),
    )
    now, pulled = _counted(), _pulled_at_end()
    changed: list[RoundReport] = []
    perhaps: list[RoundReport] = []
    for one in newest.annotate(again=Exists(worked_out)).select_related("round"):
        if now.get(one.round_id, (0, 0)) != (len(one.sets), sum(one.sets)) or pulled.get(
            one.round_id, 0
        ) != sum(_at_end(one.report or {}).values()):
            changed.append(one)
        elif one.again:
            perhaps.append(one)
    return changed, perhaps


def _counted() -> dict[int, tuple[int, int]]:
    """By round how many sets count, and the sum of their ids, which tells whether they changed."""
    counting = RoundSet.objects.filter(
        specimen__participant__withdrawn_at=None,
        pull_set__session__standing=Session.Standing.CURRENT,
    )
    rows = counting.order_by().values("specimen__participant__round_id")
    return {
        row["specimen__participant__round_id"]: (row["n"], row["ids"])
        for row in rows.annotate(n=Count("pk"), ids=Sum("pull_set_id"))
    }


def _pulled_at_end() -> dict[int, int]:
    """By round how often its spools were pulled again after it."""
    again = LotPull.objects.filter(occasion=LotPull.Occasion.AFTER).order_by()
    return dict(again.values_list("lot__round").annotate(n=Count("pk")))


def _at_end(figures: Mapping[str, Any]) -> dict[int, int]:
    """The same of each spool in a report."""
    return {one["spool"]: one.get("pulls_at_end", 0) for one in figures.get("spools", [])}


def ask_again(one: RoundReport) -> None:
    """Ask for the version after this one; two who ask at once get the same."""
    RoundReport.objects.get_or_create(round=one.round, number=one.number + 1)


def before(one: RoundReport) -> RoundReport | None:
    """The version made before this one."""
    earlier = one.round.reports.filter(state=State.MADE, number__lt=one.number)
    return earlier.order_by("-number").first()


def changes(
    was: RoundReport, sets: Iterable[int], figures: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """What makes a report differ from the version before: whose sets and why, spools that were
    pulled again, and values and scores that moved.

    Participants, samples and spools by their numbers.
    """
    then, now = set(was.sets), set(sets)
    rows = RoundSet.objects.filter(pull_set__in=then ^ now).values_list(
        "pull_set_id",
        "specimen__participant__number",
        "specimen__sample__number",
        "pull_set__session__standing",
    )
    found: dict[tuple[int, str], set[int]] = defaultdict(set)
    for pk, number, sample, standing in rows:
        replaced = standing == Session.Standing.REPLACED
        what = ADDED if pk in now else CORRECTED if replaced else WITHDRAWN
        found[number or 0, what].add(sample)
    # What takes the place of a replaced set is its correction, and no news of its own.
    for number, what in [key for key in found if key[1] == ADDED]:
        if (number, CORRECTED) in found:
            found[number, CORRECTED] |= found.pop((number, what))
    touched = {number for number, _ in found}
    before_, after = _means(was.report or {}), _means(figures)
    for (number, sample), mean_N in after.items():
        if number not in touched and before_.get((number, sample), mean_N) != mean_N:
            found[number, RECALCULATED].add(sample)
    who = [
        {"participant": number, "what": what, "samples": sorted(samples)}
        for (number, what), samples in sorted(found.items())
    ]
    at_end = _at_end(was.report or {})
    spools = [
        {"what": PULLED_AGAIN, "spool": spool}
        for spool, pulls in _at_end(figures).items()
        if at_end.get(spool, 0) != pulls
    ]
    before_figures = was.report or {}
    return [*who, *spools, *_moved(before_figures, figures), *moved_scores(before_figures, figures)]


def _means(figures: Mapping[str, Any]) -> dict[tuple[int, int], float]:
    return {
        (cell["participant"], sample["sample"]): cell["mean_N"]
        for sample in figures.get("samples", [])
        for cell in sample["results"]
    }


def _moved(was: Mapping[str, Any], now: Mapping[str, Any]) -> Sequence[dict[str, Any]]:
    """Assigned values that are others than before; None where there is or was none."""
    then, after = _values(was), _values(now)
    return [
        {"what": "value", "sample": sample, "was_N": then.get(sample), "is_N": value}
        for sample, value in after.items()
        if then.get(sample) != value
    ]


def _values(figures: Mapping[str, Any]) -> dict[int, float | None]:
    return {
        sample["sample"]: sample["assigned"] and sample["assigned"]["value_N"]
        for sample in figures.get("samples", [])
    }
