"""Normalise a session: from its pulls to the efficiency of each of its sets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from django.db import transaction

from results.jobs import stale_marks
from results.models import Baseline, NormalisedSet, Pool, Pull, PullSet, Session
from results.models.lifecycle import State, lock_sets
from results.normalising.borrowed_baselines import borrow
from results.normalising.pair_evidence import ALONE, Pair, evidence, fixed_references
from results.normalising.reference_line import Specimen
from results.normalising.scales import Scale, first_resolutions, scale_of
from results.normalising.set_figures import (
    NoFigures,
    Pulls,
    SetFigures,
    compute_figures,
    contested_pairs,
    specimens,
    specimens_without_reference,
    straight_strengths,
)
from results.normalising.traced_errors import shown_by_traces, traced_columns, traced_errors
from results.statistics.censored import Strength
from results.statistics.efficiency import Efficiency


def normalise_session(session_id: int, *, still_ours: Callable[[], bool]) -> None:
    """Compute the figures of a session's sets; they count once they have been screened.

    Computes outside any transaction, then writes in one, and only if ``still_ours`` is true within
    it; nothing if the rig was corrected meanwhile. Idempotent. Locks: the rows of this session's
    sets.
    """
    session = Session.objects.select_related("revision", "contributor").get(pk=session_id)
    sets = list(
        session.pull_sets.select_related("main_line", "leader_line").exclude(state=State.WITHDRAWN)
    )
    scale = scale_of(session)
    straight_line = straight_line_of(session, sets, scale)
    strengths = straight_strengths(scale, straight_line.straight)
    pairs = contested_pairs(sets, strengths)
    known = evidence(session, pairs)
    fixed = fixed_references(pairs, known)
    figures = compute_figures(
        scale, straight_line.straight, _with_pulls(session, sets), fixed, straight_line.notes
    )
    alone = pairs.keys() - known.keys()
    figures = [_noted(*each, alone) for each in zip(sets, figures, strict=True)]
    of_sets = dict(zip(sets, figures, strict=True))
    traced = _traced(scale, straight_line.baselines, of_sets)
    with transaction.atomic():
        if still_ours():
            _store(session, scale, straight_line.baselines, of_sets, traced)


def _noted(
    pull_set: PullSet, found: SetFigures | NoFigures, alone: Collection[Pair]
) -> SetFigures | NoFigures:
    """With a note where no other session or label says which line of its pair is weaker."""
    if isinstance(found, NoFigures) or not found.reference.contested:
        return found
    pair = (pull_set.main_line_id, pull_set.leader_line_id)
    return replace(found, notes=(*found.notes, ALONE)) if pair in alone else found


@dataclass(frozen=True)
class StraightLine:
    """Straight line for the sets of a session: its own, and what it borrows."""

    baselines: dict[Specimen, list[Baseline]]
    straight: dict[Specimen, Pulls]
    notes: dict[Specimen, str]


def straight_line_of(session: Session, sets: Sequence[PullSet], scale: Scale) -> StraightLine:
    """Straight line that the sets of a session are measured against."""
    baselines = _baselines(session)
    straight: dict[Specimen, Pulls] = {
        specimen: [pull for baseline in found for pull in baseline.pulls.all()]
        for specimen, found in baselines.items()
    }
    lent = borrow(session, specimens_without_reference(sets, straight_strengths(scale, straight)))
    for specimen, borrowed in lent.items():
        baselines[specimen] = list(borrowed.baselines)
        straight[specimen] = borrowed.pulls
    notes = {specimen: borrowed.note for specimen, borrowed in lent.items()}
    return StraightLine(baselines, straight, notes)


def _baselines(session: Session) -> dict[Specimen, list[Baseline]]:
    """Baselines by what was pulled: those before, between and after count together."""
    found: dict[Specimen, list[Baseline]] = defaultdict(list)
    for baseline in (
        session.baselines.select_related("line").prefetch_related("pulls").order_by("pk")
    ):
        found[Specimen(baseline.line, baseline.spool)].append(baseline)
    return found


def _with_pulls(session: Session, sets: list[PullSet]) -> list[tuple[PullSet, Pulls]]:
    pulls: dict[int | None, list[Pull]] = defaultdict(list)
    for pull in Pull.objects.filter(pull_set__session=session).order_by("pk"):
        pulls[pull.pull_set_id].append(pull)
    return [(pull_set, pulls[pull_set.pk]) for pull_set in sets]


def _traced(
    scale: Scale,
    baselines: dict[Specimen, list[Baseline]],
    figures: dict[PullSet, SetFigures | NoFigures],
) -> dict[PullSet, dict[str, float | None]]:
    """What is stored of each set with figures by what the traces of its pulls show."""
    of_sets = shown_by_traces("pull_set", [pull_set.pk for pull_set in figures])
    of_lines = shown_by_traces("baseline", [one.pk for of in baselines.values() for one in of])
    columns = {}
    for pull_set, found in figures.items():
        if isinstance(found, NoFigures):
            continue
        parts = baselines[found.reference.specimen]
        errors = traced_errors(
            of_sets.get(pull_set.pk, []),
            [shown for part in parts for shown in of_lines.get(part.pk, [])],
            (found.join.n, found.baseline.n),
            *scale.line,
        )
        columns[pull_set] = traced_columns(errors, found.join.mean_N, found.baseline.mean_N)
    return columns


def _store(
    session: Session,
    scale: Scale,
    baselines: dict[Specimen, list[Baseline]],
    figures: dict[PullSet, SetFigures | NoFigures],
    traced: dict[PullSet, dict[str, float | None]],
) -> None:
    lock_sets(pull_set.pk for pull_set in figures)
    if not _is_still(session, scale):
        return
    first_N = first_resolutions([session.revision_id])[session.revision_id]
    named = {*baselines, *(each for one in figures for each in specimens(one) if each)}
    rows = []
    for pull_set, found in figures.items():
        why_not = _publicly(found.why, named)[:300] if isinstance(found, NoFigures) else ""
        if why_not != pull_set.not_normalised:
            PullSet.objects.filter(pk=pull_set.pk).update(not_normalised=why_not)
        if isinstance(found, NoFigures):
            _lose_figures(pull_set)
            continue
        parts = baselines[found.reference.specimen]
        rows.append(
            NormalisedSet(
                pull_set=pull_set,
                pool=_pool_of(session, pull_set),
                baseline=parts[0],
                calibration=scale.calibration,
                resolution_N=scale.resolution_N if scale.resolution_N != first_N else None,
                **_columns(found)
                | traced[pull_set]
                | {"notes": [_publicly(note, named) for note in found.notes]},
            )
        )
    columns = [field.name for field in NormalisedSet._meta.concrete_fields if not field.primary_key]
    NormalisedSet.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["pull_set"], update_fields=columns
    )


def _is_still(session: Session, scale: Scale) -> bool:
    """Whether the rig's data are still those of the computation.

    Where it was corrected meanwhile, the correction's own job comes after this one.
    """
    now = scale_of(Session.objects.select_related("revision").get(pk=session.pk))
    return (now.calibration, now.resolution_N, now.capacity_N) == (
        scale.calibration,
        scale.resolution_N,
        scale.capacity_N,
    )


def _publicly(sentence: str, named: Iterable[Specimen]) -> str:
    """A sentence about these specimens as everyone may read it, the longest names first."""
    for each in sorted(named, key=lambda specimen: -len(str(specimen))):
        name, public = str(each), each.public_name
        sentence = sentence.replace(name, public)
        sentence = sentence.replace(name[0].upper() + name[1:], public[0].upper() + public[1:])
    return sentence


def _lose_figures(pull_set: PullSet) -> None:
    """Take away figures of an earlier time, as when a borrowed baseline was withdrawn."""
    earlier = NormalisedSet.objects.filter(pull_set=pull_set)
    stale_marks.mark(
        earlier.values_list("pool_id", flat=True), f"set {pull_set.pk} lost its baseline"
    )
    earlier.delete()


def _pool_of(session: Session, pull_set: PullSet) -> Pool:
    leader = pull_set.leader_line
    pool, _ = Pool.objects.get_or_create(
        connection_id=pull_set.connection_id,
        doubled=pull_set.doubled,
        main_material=pull_set.main_line.material,
        leader_material=leader.material if leader else "",
        terminal="" if leader else pull_set.terminal,
        wet=session.state != Session.State.DRY,
        shock=session.loading == Session.Loading.SHOCK,
    )
    return pool


def _columns(found: SetFigures) -> dict[str, Any]:
    return columns_of(found.modes, found.join, found.baseline, found.efficiency) | {
        "join_itself": _join_itself(found),
        "pull_places": found.shares.places,
        "straight_places": found.straight_shares.places,
        "lowest_share": found.shares.lowest,
        "notes": list(found.notes),
    }


def columns_of(
    modes: Mapping[str, int], join: Strength, baseline: Strength, ratio: Efficiency
) -> dict[str, Any]:
    """What is stored of a set: its pulls by failure mode, the two strengths, and their ratio."""
    return {
        "pulls": sum(modes.values()),
        "counted": join.n,
        "failure_modes": modes,
        "mean_N": join.mean_N,
        "cv": join.cv,
        "n_effective": join.n_effective,
        "degrees_of_freedom": join.degrees_of_freedom,
        "baseline_counted": baseline.n,
        "baseline_mean_N": baseline.mean_N,
        "baseline_cv": baseline.cv,
        "baseline_n_effective": baseline.n_effective,
        "baseline_degrees_of_freedom": baseline.degrees_of_freedom,
        "log_ratio": ratio.log_ratio,
        "own_variance": ratio.own_variance,
        "shared_variance": ratio.shared_variance,
        "efficiency": ratio.ratio,
        "interval_low": ratio.fieller_low,
        "interval_high": ratio.fieller_high,
        "interval_open": ratio.interval_open or "",
        "u_offset_log": ratio.offset_log_uncertainty,
    }


def _join_itself(found: SetFigures) -> dict[str, Any]:
    """How often the join outlasted the rest, and its own strength if that can be estimated."""
    columns: dict[str, Any] = {
        "failures": found.join.n - found.outlasted,
        "outlasted": found.outlasted,
    }
    if found.join_itself:
        columns["outlasting_share_low"] = found.join_itself.outlasting_share_low
    if found.join_itself and found.join_itself.estimate:
        columns["strength_N"] = asdict(found.join_itself.estimate)
    if found.join_efficiency:
        columns["efficiency"] = found.join_efficiency.ratio
        columns["interval"] = [
            found.join_efficiency.fieller_low,
            found.join_efficiency.fieller_high,
        ]
    return columns
