"""The baselines of a session: may they be used, do they fit the label, did the rig stay put?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Prefetch

from results.models import Baseline, NormalisedSet, Pull, Session
from results.normalising.reference_line import Specimen
from results.normalising.scales import Scale, scale_of
from results.normalising.set_figures import straight_strengths
from results.statistics.censored import Strength
from results.statistics.failure_modes import exact_for_line
from rigs.metrology.equivalence import Equivalence, equivalence
from rigs.metrology.errors import MetrologyError
from rigs.metrology.validity import BaselineFacts, BaselineValidity, baseline_validity

FIRST_TO_LAST = (Baseline.Position.BEFORE, Baseline.Position.BETWEEN, Baseline.Position.AFTER)


@dataclass(frozen=True)
class StraightLine:
    """Straight line of one specimen: its strength in newtons, and its validity.

    ``first`` is its first baseline, ``lender`` the session it was borrowed from, if it was.
    ``over_label`` is strength over label. ``round_trip`` compares the first round of the session
    with the last; where it is None ``no_round_trip`` says why.
    """

    first: Baseline
    lender: Session | None
    strength: Strength | None
    no_strength: str
    over_label: float | None
    validity: BaselineValidity
    round_trip: Equivalence | None
    no_round_trip: str


def straight_lines_of(session: Session) -> list[StraightLine]:
    """Every specimen pulled straight in a session, then those it borrowed."""
    used = set(
        NormalisedSet.objects.filter(pull_set__session=session)
        .exclude(baseline__session=session)
        .values_list("baseline__session", "baseline__line", "baseline__spool")
    )
    pulled = [
        each
        for each in _baselines([session.pk, *(lender for lender, _, _ in used)])
        if each.session_id == session.pk or (each.session_id, each.line_id, each.spool) in used
    ]
    scale = scale_of(session)
    found: dict[tuple[Session, Specimen], list[Baseline]] = defaultdict(list)
    for each in sorted(pulled, key=lambda each: each.session_id != session.pk):
        found[each.session, Specimen(each.line, each.spool)].append(each)
    return [_straight_line(session, scale, *key, parts) for key, parts in found.items()]


def _baselines(sessions: Sequence[int]) -> list[Baseline]:
    return list(
        Baseline.objects.filter(session__in=sessions)
        .select_related("session", "line")
        .prefetch_related(Prefetch("pulls", Pull.objects.order_by("pk")))
        .order_by("pk")
    )


def _straight_line(
    session: Session, scale: Scale, lender: Session, what: Specimen, parts: Sequence[Baseline]
) -> StraightLine:
    pulls = [pull for part in parts for pull in part.pulls.all()]
    found = straight_strengths(scale, {what: pulls})[what]
    strength = found if isinstance(found, Strength) else None
    label_N = what.line.label_strength_N
    facts = BaselineFacts(
        parted_in_free_length=int(exact_for_line([pull.failure_mode for pull in pulls]).sum()),
        same_revision=lender.revision_id == session.revision_id,
        same_spool=True,
        same_state=lender.state == session.state,
        pulled_on=lender.pulled_on,
        needed_on=session.pulled_on,
    )
    round_trip, no_round_trip = _round_trip(scale, parts)
    return StraightLine(
        first=parts[0],
        lender=None if lender.pk == session.pk else lender,
        strength=strength,
        no_strength="" if isinstance(found, Strength) else found.why,
        over_label=strength.mean_N / label_N if strength and label_N else None,
        validity=baseline_validity(facts),
        round_trip=round_trip,
        no_round_trip=no_round_trip,
    )


def _round_trip(scale: Scale, parts: Sequence[Baseline]) -> tuple[Equivalence | None, str]:
    """The first round against the last, by position."""
    rounds = sorted(parts, key=lambda part: FIRST_TO_LAST.index(Baseline.Position(part.position)))
    if len(rounds) < 2:
        return None, "straight line was pulled in one round only; pull it before and after the sets"
    first, last = (_parted(part) for part in (rounds[0], rounds[-1]))
    try:
        return equivalence(scale.loads_N(first), scale.loads_N(last)), ""
    except MetrologyError as error:
        return None, str(error)


def _parted(baseline: Baseline) -> list[Pull]:
    pulls = list(baseline.pulls.all())
    exact = exact_for_line([pull.failure_mode for pull in pulls])
    return [pull for pull, parted in zip(pulls, exact, strict=True) if parted]
