"""Tables of what all testers together say: pools, the sets behind each, and what is not here."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from typing import Any

from django.db.models import Count, QuerySet, Sum

from results.models import PoolVersion, PullSet, Session, StalePool
from results.models.declared import Figure, figure_at
from results.models.declared.columns import COLUMNS, COUNTS
from results.models.declared.pooled import FIGURES
from results.models.lifecycle import State
from results.open_data.equipment import BATCH
from results.open_data.fields import Column, Row, Table, text, whole, yes_no
from results.pools.figures import values_of
from results.public import rows as public
from rigs.models import Material

COUNTED = tuple(each for each in COUNTS if each.in_open_data)
NO_FIGURE = figure_at("no_figure")
POOLED = tuple(
    each for each in (*COLUMNS, *FIGURES) if each.in_open_data and each.path != NO_FIGURE.path
)
KEY = ("connection", "doubled", "main_material", "leader_material", "terminal", "wet", "shock")
BECAME = ("shared", "waiting", "held", "rejected", "withdrawn", "replaced", "discarded_ties")


def versions() -> QuerySet[PoolVersion]:
    """The current version of every public pool, but for those whose figures were taken down."""
    taken_down = StalePool.objects.filter(takes_down=True).values("pool")
    shown = public.archived_pools().exclude(pk__in=taken_down)
    return PoolVersion.objects.filter(pk__in=shown.values("current")).order_by("pool_id")


def _pools() -> Iterator[Row]:
    shared = _shared()
    kept = versions().select_related("pool").defer("findings", "forest_light", "forest_dark")
    for version in kept.iterator(100):
        pool, sets = version.pool, version.inputs.get("pull_sets", [])
        yield (
            pool.pk,
            version.number,
            version.snapshot,
            version.computed_at,
            *(getattr(pool, name) for name in ("connection_id", *KEY[1:])),
            *(getattr(version, figure.name) for figure in COUNTED),
            sum(pull_set not in shared for pull_set in sets) if sets else version.sets,
            *(value for figure in POOLED for value in values_of(version, figure)),
            version.no_figure,
        )


def _pool_sets() -> Iterator[Row]:
    shared = _shared()
    for pool_id, inputs in versions().values_list("pool_id", "inputs").iterator(100):
        columns = (inputs.get(name, []) for name in ("pull_sets", "baselines", "calibrations"))
        for pull_set, baseline, calibration in zip(*columns, strict=True):
            if pull_set in shared:
                yield pool_id, pull_set, baseline, calibration or None


def _shared() -> set[int]:
    return set(public.archived_pull_sets().values_list("pk", flat=True).iterator(BATCH))


def _selection() -> Iterator[Row]:
    """Sets by what became of them, for each kind of join."""
    counts: dict[Row, Counter[str]] = defaultdict(Counter)
    known = PullSet.objects.filter(public.known_terminal(), connection__accepted=True)
    for *key, state, standing, sets in _grouped(known, "state", "session__standing"):
        counts[_key(key)][_outcome(state, standing)] += sets
    shared = public.archived_pull_sets().filter(public.known_terminal())
    for *key, sets in _grouped(shared):
        counts[_key(key)]["shared"] += sets
        counts[_key(key)]["counting or waiting"] -= sets
    for *key, discarded in _grouped(shared, count=Sum("discarded_ties")):
        counts[_key(key)]["discarded_ties"] += discarded
    for kind in sorted(counts, key=str):
        of_kind = counts[kind]
        of_kind["waiting"] = of_kind["counting or waiting"]
        yield (*kind, *(of_kind[name] for name in BECAME))


def _grouped(sets: Any, *also: str, count: Any = None) -> Iterable[Row]:
    names = (
        "connection_id",
        "doubled",
        "main_line__material",
        "leader_line__material",
        "terminal",
        "session__state",
        "session__loading",
        *also,
    )
    rows = sets.order_by().values(*names).annotate(number=count or Count("pk"))
    return list(rows.values_list(*names, "number"))


def _key(columns: list[Any]) -> Row:
    connection, doubled, main, leader, terminal, state, loading = columns
    wet, shock = state != Session.State.DRY, loading == Session.Loading.SHOCK
    return connection, doubled, main, leader or "", "" if leader else terminal, wet, shock


def _outcome(state: str, standing: str) -> str:
    if standing == Session.Standing.REPLACED:
        return "replaced"
    if standing == Session.Standing.WITHDRAWN:
        return "withdrawn"
    apart = (State.HELD, State.REJECTED, State.WITHDRAWN)
    return state if state in apart else "counting or waiting"


def _columns(figures: Iterable[Figure]) -> Iterator[Column]:
    for figure in figures:
        for name, said in figure.described.items():
            yield Column(name, figure.column_type, said)


_KIND = (
    whole("connection", "the join"),
    yes_no("doubled", "tied with doubled line"),
    text("main_material", "of one line", Material.values),
    text("leader_material", "of the other; empty for a terminal", Material.values),
    text("terminal", "what the line is tied to, where that is no line"),
    yes_no("wet", "line wetted or soaked"),
    yes_no("shock", "load came as a shock"),
)
POOLS = Table(
    "pools",
    "What all testers together say of a join on one kind of line pair. Below three testers there "
    "are counts and no figure. Efficiencies are fractions of the straight line's strength.",
    (
        whole("pool", "number of the pool", required=True),
        whole("version", "of the pool; it has had so many"),
        text("snapshot", "names exactly what the figure was computed from"),
        Column("computed_at", "datetime", "UTC"),
        *_KIND,
        *_columns(COUNTED),
        whole("sets_not_here", "sets it counts that were held or withdrawn since; 0 but briefly"),
        *_columns(POOLED),
        *_columns((NO_FIGURE,)),
    ),
    _pools,
    ("pool",),
    {"connection": ("connections", "connection")},
)
POOL_SETS = Table(
    "pool_sets",
    "The sets behind each pool, and by what baseline and calibration each was worked out.",
    (
        whole("pool", "the pool", required=True),
        whole("pull_set", "a set that counts in it", required=True),
        whole("baseline", "first baseline of the line and spool it is measured against"),
        whole("calibration", "empty where there was none"),
    ),
    _pool_sets,
    ("pool", "pull_set"),
    {
        "pool": ("pools", "pool"),
        "pull_set": ("pull_sets", "pull_set"),
        "baseline": ("baselines", "baseline"),
        "calibration": ("calibrations", "calibration"),
    },
)
SELECTION = Table(
    "selection",
    "How many sets of each kind of join were uploaded, and their outcomes: what is not in this "
    "package is counted here. A correction replaces the sets that it corrects.",
    (
        *_KIND,
        whole("shared", "sets in this package"),
        whole("waiting", "not worked out or not screened yet"),
        whole("held", "wait for a moderator"),
        whole("rejected", "rejected by a moderator, with a reason given to the tester"),
        whole("withdrawn", "withdrawn by their testers"),
        whole("replaced", "replaced by a corrected version"),
        whole("discarded_ties", "ties of the shared sets thrown away unpulled"),
    ),
    _selection,
    (),
    {"connection": ("connections", "connection")},
)
