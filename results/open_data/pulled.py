"""Tables of pulls: sessions, baselines, sets, and every single pull."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Case, Q, Value, When

from results.models import Pull, PullSet, Session
from results.open_data.equipment import BATCH
from results.open_data.fields import Column, Row, Table, number, text, whole, yes_no
from results.open_data.showing import shown, shown_of
from results.public import rows as public
from results.public.readers import Reader

TYER = "number_of_tyer"
"""Who tied a set, set on its row while it is written."""
IN_ROUND, CENTRALLY = "round", "tied_centrally"
"""The round that a set was pulled in, and whether one hand tied it for everybody, likewise."""


def _sessions() -> Iterable[Row]:
    return public.archived_sessions().values_list(*SESSIONS.sources).iterator(BATCH)


def _baselines() -> Iterable[Row]:
    rows = public.archived_baselines().select_related("session__contributor")
    return shown(rows.iterator(BATCH), BASELINES.sources)


def _pull_sets() -> Iterable[Row]:
    own = Q(tyer="", in_round__tied_by=None)
    by_another = Case(When(own, then=Value(False)), default=Value(True))
    sets = public.archived_pull_sets().annotate(tied_by_another=by_another)
    together = sets.select_related(
        "session__contributor", "connection", "normalised", "in_round__specimen__sample"
    )
    first = PULL_SETS.sources.index("pool_id")
    of_set, of_efficiency = PULL_SETS.sources[:first], PULL_SETS.sources[first:]
    none = (None,) * len(of_efficiency)
    stranger = Reader()
    tyers: dict[tuple[int, str], int] = {}
    for row in together.iterator(BATCH):
        setattr(row, TYER, _number_of_tyer(row, tyers))
        in_round = getattr(row, "in_round", None)
        setattr(row, IN_ROUND, in_round and in_round.round_id)
        setattr(row, CENTRALLY, in_round is not None and in_round.tied_centrally)
        came_to = getattr(row, "normalised", None)
        found = shown_of(came_to, of_efficiency, stranger) if came_to else none
        yield (*shown_of(row, of_set, stranger), *found)


def _number_of_tyer(row: PullSet, tyers: dict[tuple[int, str], int]) -> int:
    """0 for who pulled it, else a number that means the same person of the same tester.

    Who tied for everybody of a round has one number for all its testers.
    """
    in_round = getattr(row, "in_round", None)
    if in_round is not None and in_round.tied_by_id is not None:
        return tyers.setdefault((0, str(in_round.tied_by_id)), len(tyers) + 1)
    name = row.tyer.strip().casefold()
    who = row.session.contributor_id, name
    return tyers.setdefault(who, len(tyers) + 1) if name else 0


def _pulls() -> Iterable[Row]:
    stranger = Reader()
    for row in public.archived_pulls().values_list(*PULLS.sources).iterator(BATCH):
        pull = Pull(**dict(zip(PULLS.sources, row, strict=True)))
        yield shown_of(pull, PULLS.sources, stranger)


SESSIONS = Table(
    "sessions",
    "One tester's pulls on one rig on one day.",
    (
        whole("session", "number of the session", "pk", required=True),
        whole(
            "tester",
            "number of the tester; the service's contributor of that number",
            "contributor_id",
        ),
        whole("revision", "state of the rig", "revision_id"),
        Column("pulled_on", "date", "day of the pulls"),
        text("state", "of the line as it was pulled", Session.State.values),
        text("loading", "how load came on", Session.Loading.values),
        text("unit", "in which readings were written where a pull names no other"),
        number("temperature_C", "degrees Celsius"),
        number("soak_hours", "hours in water before"),
        whole("version", "1 unless it was corrected; the latest alone is here"),
    ),
    _sessions,
    ("session",),
    {"revision": ("revisions", "revision")},
)
BASELINES = Table(
    "baselines",
    "Straight line, which the joins of the same rig and day are measured against.",
    (
        whole("baseline", "number of the baseline", "pk", required=True),
        whole("session", "the session it was pulled in", "session_id"),
        whole("line", "what was pulled", "line_id"),
        text("spool", "an accepted name, or a number in its place"),
        text("position", "before, between or after the joins"),
    ),
    _baselines,
    ("baseline",),
    {"session": ("sessions", "session"), "line": ("lines", "line")},
)
PULL_SETS = Table(
    "pull_sets",
    "Pulls of one join, tied one way, on one pair of lines, in one session; what they came to. "
    "Columns from 'pool' on are empty where no efficiency can be given.",
    (
        whole("pull_set", "number of the set", "pk", required=True),
        whole("session", "the session it was pulled in", "session_id"),
        text("state", "normalised, pooled and released count; received has no efficiency"),
        whole("connection", "the join", "connection_id"),
        yes_no("doubled", "tied with doubled line"),
        whole("main_line", "one line", "main_line_id"),
        text("main_spool", "its spool, as in baselines"),
        whole("leader_line", "the other line; empty for a terminal", "leader_line_id"),
        text("leader_spool", "its spool, as in baselines"),
        text("terminal", "what the line is tied to, where that is no line"),
        Column("parameters", "object", "how it was tied, by the parameters of the connection"),
        yes_no("tied_by_another", "somebody other than the tester tied it"),
        whole("tyer", "0 if the tester tied it, else one number a person", TYER),
        whole(IN_ROUND, "number of the club's round it was pulled in; empty for none"),
        yes_no(CENTRALLY, "tied by one hand for everybody of its round"),
        whole("discarded_ties", "ties thrown away unpulled"),
        number("time_to_tie_s", "seconds"),
        number("join_diameter_m", "of the finished join at its thickest, metres"),
        text("not_normalised", "why no efficiency can be given"),
        whole("pool", "the pool it counts in", "pool_id"),
        whole(
            "baseline", "first baseline of the line and spool it is measured against", "baseline_id"
        ),
        whole(
            "calibration",
            "by which readings became loads; empty where there was none",
            "calibration_id",
        ),
        whole("pulls", "voids included"),
        whole("counted", "pulls that say something of the strength"),
        number("mean_N", "mean load of the assembly, newtons"),
        number("cv", "coefficient of variation of single pulls, a fraction"),
        number("n_effective", "pulls that the mean is worth"),
        number("degrees_of_freedom", "of cv"),
        whole("baseline_counted", "straight pulls that say something of the strength"),
        number("baseline_mean_N", "mean load of straight line, newtons"),
        number("baseline_cv", "its coefficient of variation, a fraction"),
        number("baseline_n_effective", "straight pulls that this mean is worth"),
        number("baseline_degrees_of_freedom", "of baseline_cv"),
        number("log_ratio", "logarithm of the ratio of means, corrected for bias"),
        number(
            "own_variance",
            "of log_ratio, from the set's own pulls and scatter; a pool takes that of all its sets",
        ),
        number(
            "shared_variance", "of log_ratio, from the straight line others share; as own_variance"
        ),
        number(
            "efficiency", "mean over straight mean, a fraction, corrected for bias: exp(log_ratio)"
        ),
        number("interval_low", "lower end of its 95 percent interval"),
        number("interval_high", "upper end"),
        number(
            "zero_of_pulls_log",
            "what the zeros that traces show move log_ratio by; empty without traces",
        ),
        number(
            "missed_peak_log",
            "what peaks between two samples of traces move log_ratio by; empty without traces",
        ),
    ),
    _pull_sets,
    ("pull_set",),
    {
        "session": ("sessions", "session"),
        "connection": ("connections", "connection"),
        "main_line": ("lines", "line"),
        "leader_line": ("lines", "line"),
        "baseline": ("baselines", "baseline"),
        "calibration": ("calibrations", "calibration"),
    },
)
PULLS = Table(
    "pulls",
    "Every pull, voids included: of a set or of a baseline, never of both.",
    (
        whole("pull", "number of the pull", "pk", required=True),
        whole("pull_set", "the set it is of", "pull_set_id"),
        whole("baseline", "the baseline it is of", "baseline_id"),
        whole("number", "its place within set or baseline"),
        text("reading_written", "as the tester wrote it"),
        text("unit", "of the reading as written"),
        number("reading_N", "the reading in newtons, before any calibration; may be empty if void"),
        text("failure_mode", "what parted, or that nothing did", Pull.FailureMode.values),
        yes_no("slipped_first", "slipped, then held and broke"),
        number("time_to_break_s", "seconds"),
    ),
    _pulls,
    ("pull",),
    {"pull_set": ("pull_sets", "pull_set"), "baseline": ("baselines", "baseline")},
)
