"""Looking things up: what pages and API show of pools and sets. Nothing here changes a row."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db.models import (
    Case,
    CharField,
    Count,
    Exists,
    F,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from results.models import (
    LINE_PAIR,
    Baseline,
    DirectComparison,
    NormalisedSet,
    Pool,
    PoolMembership,
    PoolVersion,
    PullSet,
    ReviewCase,
    RoundSet,
    StalePool,
    StateChange,
)
from results.models.lifecycle import COUNTING
from results.pools.figures import findings_of
from results.public.rows import public_pools
from rigs.models import Contributor, RigRevision

NEAR = 0.25
"""Share of a diameter within which another counts as about the same; common practice, no source."""


def changed_since(moment: datetime) -> Q:
    """Pools with a version computed since then, or a set that came or went since then."""
    stale = StalePool.objects.filter(pool=OuterRef("pk"), marked_at__gte=moment)
    return Q(current__computed_at__gte=moment) | Q(Exists(stale))


def pools() -> QuerySet[Pool]:
    """Pools that hold or held a set: line pair by line pair, the strongest join first.

    Those without a pooled figure come last in their line pair. Each has its connection and its
    current version at hand, without figures where these were taken down.
    """
    return (
        Pool.objects.filter(public_pools())
        .published()
        .select_related("connection")
        .defer("current__forest_light", "current__forest_dark", "current__inputs")
        .order_by(
            "main_material",
            "leader_material",
            "terminal",
            "wet",
            "shock",
            Case(When(taken_down_at=None, then="current__efficiency")).desc(nulls_last=True),
            "connection__name",
            "pk",
        )
    )


def sets_of(pool: Pool) -> QuerySet[NormalisedSet]:
    """Sets that count in the current version of a pool and still may, by tester and day.

    Joined are the tables that choose and order them. Rigs and lines are few and come after: with
    all of them PostgreSQL has more joins than it puts in order (join_collapse_limit), and would
    read every set of the store to find those of one pool. ``round_number`` is the club's round of
    a set that was pulled in one, and ``tied_in_round`` who tied it there.
    """
    of_round = RoundSet.objects.filter(pull_set=OuterRef("pull_set_id")).order_by()
    return (
        NormalisedSet.objects.filter(
            pull_set__memberships__pool=pool,
            pull_set__memberships__until__isnull=True,
            pull_set__state__in=COUNTING,
        )
        .select_related("pull_set__session__contributor")
        .prefetch_related(
            Prefetch(
                "pull_set__session__revision", RigRevision.objects.select_related("rig__owner")
            ),
            "pull_set__main_line",
            "pull_set__leader_line",
        )
        .annotate(
            round_number=Subquery(of_round.values("specimen__sample__round")[:1]),
            tied_in_round=Subquery(of_round.values("specimen__sample__tied")[:1]),
        )
        .order_by(
            "pull_set__session__contributor__handle", "pull_set__session__pulled_on", "pull_set_id"
        )
    )


def own_strength_of(pull_set: PullSet) -> dict[str, Any] | None:
    """What the join itself holds in a set, by the current version of its pool.

    As 'efficiency', 'interval_low', 'interval_high', and 'failures', the pulls that parted at the
    join. None where the version says nothing of the set, or was taken down.
    """
    if pull_set.state not in COUNTING or not hasattr(pull_set, "normalised"):
        return None
    pool = pools().filter(pk=pull_set.normalised.pool_id).first()
    by_set = findings_of(pool.current).get("own_strengths") if pool and pool.current else None
    if not by_set or pull_set.pk not in by_set["pull_set"]:
        return None
    place = by_set["pull_set"].index(pull_set.pk)
    return {name: column[place] for name, column in by_set.items() if name != "pull_set"}


def sets_waiting(pool: Pool) -> int:
    """How many sets of a pool wait for a second look at how far they would move its figure."""
    waiting = ReviewCase.objects.wait_for_a_second_look()
    return waiting.filter(pull_set__normalised__pool=pool.pk).count()


def own_sets_waiting(contributor: Contributor) -> list[int]:
    """One's own sets that wait for a second look: out of the pool, but one's own tying."""
    waiting = ReviewCase.objects.wait_for_a_second_look()
    own = waiting.filter(pull_set__session__contributor=contributor)
    return list(own.order_by("pull_set").values_list("pull_set", flat=True))


def versions_of(pool: Pool) -> QuerySet[PoolVersion]:
    """The history of a pool, newest first, without its drawings.

    Each says whether it is ``superseded``, as also the newest is whose figure was taken down.
    """
    taken_down = StalePool.objects.filter(pool=pool, takes_down=True)
    superseded = ~Q(pk=pool.current_id) | Q(Exists(taken_down))
    versions = pool.versions.order_by("-number").defer("forest_light", "forest_dark", "inputs")
    return versions.annotate(superseded=superseded)  # type: ignore[no-redef]  # a default is no field


def rivals(pool: Pool) -> QuerySet[Pool]:
    """Pools of all joins for the same line pair, wet or dry and static or shock alike."""
    return pools().filter(**line_pair_of(pool))


def line_pair_of(pool: Pool | DirectComparison) -> dict[str, Any]:
    """What the pools of one line pair have in common."""
    return {name: getattr(pool, name) for name in LINE_PAIR}


def direct_comparison(line_pair: Mapping[str, Any]) -> DirectComparison | None:
    """The joins of a line pair as compared on the same rig and day; None before the first time.

    Without figures, and saying so, where they rest on a set that was taken out since.
    """
    return direct_comparisons([line_pair]).get(key_of(line_pair))


def direct_comparisons(
    line_pairs: Iterable[Mapping[str, Any]],
) -> dict[tuple[Any, ...], DirectComparison]:
    """The same of several line pairs that were compared, by `key_of` each."""
    asked = Q(pk__in=[])
    for line_pair in line_pairs:
        asked |= Q(**line_pair)
    found = list(DirectComparison.objects.filter(asked))
    for one in _resting_on_what_left(asked, [one for one in found if one.figures]):
        one.figures = {}
        one.why_not = "being compared again, since a set was taken out"
    return {key_of(line_pair_of(one)): one for one in found}


def key_of(line_pair: Mapping[str, Any]) -> tuple[Any, ...]:
    """What a line pair is looked up by."""
    return tuple(line_pair[name] for name in LINE_PAIR)


def _resting_on_what_left(
    asked: Q, compared: Sequence[DirectComparison]
) -> Iterator[DirectComparison]:
    """Those of the comparisons of these line pairs that a set has left since."""
    if not compared:
        return
    pools = list(Pool.objects.filter(asked))
    taken_down = set(
        StalePool.objects.filter(pool__in=pools, takes_down=True).values_list("pool", flat=True)
    )
    known = {version for one in compared for version in one.versions}
    since = [pool for pool in pools if pool.current_id and pool.current_id not in known]
    left = PoolMembership.objects.filter(
        pool__in=since, until__gt=min(known, default=0)
    ).values_list("pool", "until")
    of_pair: dict[tuple[Any, ...], set[int]] = defaultdict(set)
    for pool in pools:
        of_pair[key_of(line_pair_of(pool))].add(pool.pk)
    gone = list(left)
    for one in compared:
        here, least = of_pair[key_of(line_pair_of(one))], min(one.versions, default=0)
        if here & taken_down or any(
            pool in here and until > least and until not in one.versions for pool, until in gone
        ):
            yield one


def sets_near(
    pools: Collection[int], main_m: float | None, leader_m: float | None
) -> dict[int, int]:
    """How many counting sets of each pool were on lines within a quarter of these diameters."""
    near = Q()
    for line, size in (("main_line", main_m), ("leader_line", leader_m)):
        if size is not None:
            between = (size * (1 - NEAR), size * (1 + NEAR))
            near &= Q(**{f"pull_set__{line}__diameter_m__range": between})
    sets = NormalisedSet.objects.filter(near, pool__in=pools, pull_set__state__in=COUNTING)
    counted = sets.order_by().values("pool").annotate(number=Count("pk"))
    return dict(counted.values_list("pool", "number"))


def drawn_pools() -> QuerySet[Pool]:
    """The same pools, each with ``drawn``: whether its current version has a drawing to show."""
    return pools().annotate(drawn=Q(current__forest_light__gt="", taken_down_at=None))


def pooled_names() -> list[str]:
    """Names of the joins that have a pool."""
    names = Pool.objects.filter(public_pools()).values_list("connection__name", flat=True)
    return list(names.distinct().order_by("connection__name"))


def pooled_terminals() -> list[str]:
    """Terminals that a pooled join is tied to."""
    terminals = Pool.objects.filter(public_pools()).exclude(terminal="")
    return list(terminals.values_list("terminal", flat=True).distinct().order_by("terminal"))


def history_of(pool: Pool) -> QuerySet[PoolVersion]:
    """The history of a pool, newest first, with how many sets each version added and removed."""
    return with_changes(versions_of(pool))


def with_changes(versions: QuerySet[PoolVersion]) -> QuerySet[PoolVersion]:
    """The versions, each with how many sets it ``added`` and ``removed``."""
    counts = {"added": _memberships_by("since"), "removed": _memberships_by("until")}
    return versions.annotate(**counts)


def memberships_changed_by(version: PoolVersion) -> QuerySet[PoolMembership]:
    """Sets that a version added, with ``added``, and those that it took out, without."""
    changed = PoolMembership.objects.filter(Q(since=version) | Q(until=version))
    return changed.annotate(added=Q(since=version)).order_by("pull_set", "pk")


def changes_with(version: PoolVersion) -> QuerySet[PoolMembership]:
    """The same sets, each with the state that its last change until then brought it to.

    The reason that was given is for its tester and for moderators, at the set itself.
    """
    return (
        memberships_changed_by(version)
        .select_related("pull_set__session__contributor", "pull_set__normalised")
        .annotate(
            became=Coalesce(
                Subquery(
                    StateChange.objects.filter(
                        pull_set=OuterRef("pull_set"), at__lte=version.computed_at
                    )
                    .order_by("-pk")
                    .values("to_state")[:1]
                ),
                Value("", output_field=CharField()),
            )
        )
    )


def _memberships_by(version: str) -> Coalesce:
    counted = (
        PoolMembership.objects.filter(**{version: OuterRef("pk")})
        .order_by()
        .values(version)
        .annotate(number=Count("pk"))
    )
    return Coalesce(Subquery(counted.values("number")), 0)


def pull_sets() -> QuerySet[PullSet]:
    """Pull sets with their description, figures, pulls and history."""
    return PullSet.objects.select_related(
        "connection",
        "main_line",
        "leader_line",
        "session__contributor",
        "session__revision__rig",
        "normalised__baseline__line",
        "normalised__pool__connection",
        "in_round__specimen__sample__round",
        "in_round__tied_by",
    ).prefetch_related("pulls", "state_changes")


def sets_of_session(session_id: int) -> QuerySet[PullSet]:
    """The pull sets of a session with their figures, in the order of the upload."""
    return (
        PullSet.objects.filter(session=session_id)
        .select_related("connection", "normalised__pool__connection")
        .order_by("pk")
    )


def straight_of(pull_set: PullSet) -> QuerySet[Baseline]:
    """Baselines a set is measured against, borrowed ones too; without figures its session's."""
    session, normalised = pull_set.session_id, getattr(pull_set, "normalised", None)
    if normalised is not None:
        session = normalised.baseline.session_id
    baselines = Baseline.objects.filter(session=session).select_related("line", "session")
    if normalised is not None:
        reference = normalised.baseline
        baselines = baselines.filter(line=reference.line_id, spool=reference.spool)
    return baselines.prefetch_related("pulls").order_by("pk")


def counting_sets_by(contributor: Contributor) -> QuerySet[NormalisedSet]:
    """Sets of a contributor that count in a pool, the newest first, with who tied it in a round."""
    return (
        NormalisedSet.objects.filter(
            pull_set__session__contributor=contributor, pull_set__state__in=COUNTING
        )
        .select_related("pull_set__session", "pull_set__connection", "pool__connection")
        .annotate(tied_in_round=F("pull_set__in_round__specimen__sample__tied"))
        .order_by("-pull_set__session__pulled_on", "-pull_set")
    )
