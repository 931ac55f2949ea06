"""Tables of what was pulled: sessions, straight line, sets, and every single pull."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Case, Q, Value, When

from results.models import Pull, Session
from results.open_data.equipment import BATCH
from results.open_data.fields import Column, Row, Table, number, text, whole, yes_no
from results.open_data.showing import shown, shown_of
from results.public import rows as public
from results.public.readers import Reader

TOLD = (
    "pk",
    "session_id",
    "state",
    "connection_id",
    "doubled",
    "main_line_id",
    "main_spool",
    "leader_line_id",
    "leader_spool",
    "terminal",
    "parameters",
    "tied_by_another",
    "discarded_ties",
    "time_to_tie_s",
    "join_diameter_m",
    "not_normalised",
)
CAME_TO = (
    "pool_id",
    "baseline_id",
    "calibration_id",
    "pulls",
    "counted",
    "mean_N",
    "cv",
    "n_effective",
    "degrees_of_freedom",
    "baseline_counted",
    "baseline_mean_N",
    "baseline_cv",
    "baseline_n_effective",
    "baseline_degrees_of_freedom",
    "log_ratio",
    "own_variance",
    "shared_variance",
    "efficiency",
    "interval_low",
    "interval_high",
)


def _sessions() -> Iterable[Row]:
    columns = [
        "pk",
        "contributor_id",
        "revision_id",
        "pulled_on",
        "state",
        "loading",
        "unit",
        "temperature_C",
        "soak_hours",
        "version",
    ]
    return public.archived_sessions().values_list(*columns).iterator(BATCH)


def _baselines() -> Iterable[Row]:
    columns = ["pk", "session_id", "line_id", "spool", "position"]
    rows = public.archived_baselines().select_related("session__contributor")
    return shown(rows.iterator(BATCH), columns)


def _pull_sets() -> Iterable[Row]:
    by_another = Case(When(tyer="", then=Value(False)), default=Value(True))
    sets = public.archived_pull_sets().annotate(tied_by_another=by_another)
    together = sets.select_related("session__contributor", "connection", "normalised")
    stranger = Reader()
    for row in together.iterator(BATCH):
        came_to = getattr(row, "normalised", None)
        yield (
            *shown_of(row, TOLD, stranger),
            *(shown_of(came_to, CAME_TO, stranger) if came_to else (None,) * len(CAME_TO)),
        )


def _pulls() -> Iterable[Row]:
    columns = [
        "pk",
        "pull_set_id",
        "baseline_id",
        "number",
        "reading_written",
        "unit",
        "reading_N",
        "failure_mode",
        "slipped_first",
        "time_to_break_s",
    ]
    pulls = Pull.objects.filter(
        Q(pull_set__in=public.archived_pull_sets().order_by().values("pk"))
        | Q(baseline__in=public.archived_baselines().order_by().values("pk"))
    )
    stranger = Reader()
    for row in pulls.order_by("pk").values_list(*columns).iterator(BATCH):
        pull = Pull(**dict(zip(columns, row, strict=True)))
        yield shown_of(pull, columns, stranger)


SESSIONS = Table(
    "sessions",
    "One tester's pulls on one rig on one day.",
    (
        whole("session", "number of the session", required=True),
        whole("tester", "number of the tester; the service's contributor of that number"),
        whole("revision", "state of the rig"),
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
        whole("baseline", "number of the baseline", required=True),
        whole("session", "the session it was pulled in"),
        whole("line", "what was pulled"),
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
        whole("pull_set", "number of the set", required=True),
        whole("session", "the session it was pulled in"),
        text("state", "normalised, pooled and released count; received has no efficiency"),
        whole("connection", "the join"),
        yes_no("doubled", "tied with doubled line"),
        whole("main_line", "one line"),
        text("main_spool", "its spool, as in baselines"),
        whole("leader_line", "the other line; empty for a terminal"),
        text("leader_spool", "its spool, as in baselines"),
        text("terminal", "what the line is tied to, where that is no line"),
        Column("parameters", "object", "how it was tied, by the parameters of the connection"),
        yes_no("tied_by_another", "somebody other than the tester tied it"),
        whole("discarded_ties", "ties thrown away unpulled"),
        number("time_to_tie_s", "seconds"),
        number("join_diameter_m", "of the finished join at its thickest, metres"),
        text("not_normalised", "why no efficiency can be given"),
        whole("pool", "the pool it counts in"),
        whole("baseline", "first baseline of the line and spool it is measured against"),
        whole("calibration", "by which readings became loads; empty where there was none"),
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
        number("own_variance", "of log_ratio, from the set's own pulls"),
        number("shared_variance", "of log_ratio, from the straight line others share"),
        number("efficiency", "mean over straight mean, a fraction"),
        number("interval_low", "lower end of its 95 percent interval"),
        number("interval_high", "upper end"),
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
        whole("pull", "number of the pull", required=True),
        whole("pull_set", "the set it is of"),
        whole("baseline", "the baseline it is of"),
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
