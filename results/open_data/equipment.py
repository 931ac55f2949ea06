"""Tables of equipment: rig revisions, calibrations, lines and connections."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Q

from results.models import Connection
from results.open_data.fields import Column, Row, Table, number, text, whole, yes_no
from results.open_data.showing import shown
from results.public import rows as public
from rigs.models import Calibration, Line, Material, RigRevision

BATCH = 2000
_REVISION = RigRevision


def _revisions() -> Iterable[Row]:
    used = public.archived_sessions().order_by().values("revision")
    rows = RigRevision.objects.filter(pk__in=used).order_by("pk")
    return shown(rows.iterator(BATCH), REVISIONS.sources)


def _calibrations() -> Iterable[Row]:
    used = public.archived_sessions().order_by().values("revision")
    rows = Calibration.objects.filter(revision__in=used).order_by("pk")
    return shown(rows.iterator(BATCH), CALIBRATIONS.sources)


def _lines() -> Iterable[Row]:
    sets = public.archived_pull_sets().order_by()
    used = (
        Q(pk__in=sets.values("main_line"))
        | Q(pk__in=sets.filter(leader_line__isnull=False).values("leader_line"))
        | Q(pk__in=public.archived_baselines().order_by().values("line"))
    )
    return shown(Line.objects.filter(used).order_by("pk").iterator(BATCH), LINES.sources)


def _connections() -> Iterable[Row]:
    rows = Connection.objects.filter(accepted=True)
    return shown(rows.distinct().order_by("pk").iterator(BATCH), CONNECTIONS.sources)


REVISIONS = Table(
    "revisions",
    "States of the rigs. A changed grip or scale is another revision of the same rig.",
    (
        whole("revision", "number of the revision in the whole collection", "pk", required=True),
        whole("rig", "number of the rig; its revisions share it", "rig_id"),
        whole("revision_of_rig", "the first of a rig is 1", "number"),
        Column("made_on", "date", "day from which the rig stood like this"),
        text("load_generation", "how load is put on", _REVISION.LoadGeneration.values),
        text("indicator", "what shows it", _REVISION.Indicator.values),
        text("peak_capture", "how the highest load is caught", _REVISION.PeakCapture.values),
        number("resolution_N", "smallest step shown, newtons"),
        text("resolution_written", "the same as its owner wrote it"),
        number("capacity_N", "capacity of the indicator, newtons"),
        whole("pulleys_between", "pulleys between specimen and indicator"),
        number("lever_ratio", "1 where there is no lever"),
        text("first_grip", "at one end", _REVISION.Grip.values),
        text("second_grip", "at the other", _REVISION.Grip.values),
        number("free_length_m", "between the grips, metres"),
        number("time_to_break_s", "usual time from slack to break, seconds"),
        whole("version", "1, and one more for each correction of what was entered wrongly"),
    ),
    _revisions,
    ("revision",),
)
CALIBRATIONS = Table(
    "calibrations",
    "Lines of reading on force: reading_N = offset_N + gain * force_N (JCGM 100:2008, H.3).",
    (
        whole("calibration", "number of the calibration", "pk", required=True),
        whole("revision", "the rig revision it was made of", "revision_id"),
        Column("made_on", "date", "it holds for sessions from this day on"),
        number("offset_N", "reading at no load, newtons"),
        number("gain", "newtons read for a newton of load"),
        number("u_offset_N", "standard uncertainty of the offset, newtons, to two figures"),
        number("u_gain", "standard uncertainty of the gain, to two figures"),
        number("correlation", "of offset and gain, to two figures"),
        number("residual_sd_N", "scatter about the line, newtons, to two figures"),
        whole("degrees_of_freedom", "of that scatter"),
        number("lowest_N", "least force it was made with, newtons, to two figures"),
        number("highest_N", "greatest force it was made with, newtons, to two figures"),
        text("standing", "only a current one is used from now on", Calibration.Standing.values),
    ),
    _calibrations,
    ("calibration",),
    {"revision": ("revisions", "revision")},
)
LINES = Table(
    "lines",
    "Lines as sold. What a label says is no measurement; it only decides which of two lines a join "
    "is measured against where no pulls say which is the weaker.",
    (
        whole("line", "number of the line", "pk", required=True),
        text("name", "as the catalogue has it; of a line not yet accepted, its number"),
        text("material", "what it is made of", Material.values),
        number("label_strength_N", "strength by the label, newtons"),
        text("label_strength_written", "the same as the label has it"),
        text("label_basis", "what the label's strength means", Line.LabelBasis.values),
        number("diameter_m", "metres"),
        text("diameter_written", "the same as it was entered"),
    ),
    _lines,
    ("line",),
)
CONNECTIONS = Table(
    "connections",
    "Joins by their trade names.",
    (
        whole("connection", "number of the connection", "pk", required=True),
        text("name", "trade name"),
        text("kind", "what it joins", Connection.Kind.values),
        text("tools", "what tying needs beside fingers"),
        yes_no("slim", "whether it runs through rod rings easily, as the catalogue has it"),
        yes_no("quick", "whether it is tied within a minute, as the catalogue has it"),
    ),
    _connections,
    ("connection",),
)
