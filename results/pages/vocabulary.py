"""Words of fixed lists, as they are stored and as pages show them in the reader's language."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

WORDS = {
    # states of a set
    "received": _("received"),
    "normalised": _("normalised"),
    "pooled": _("pooled"),
    "held": _("held"),
    "released": _("released"),
    "rejected": _("rejected"),
    "withdrawn": _("withdrawn"),
    # lines and loading
    "dry": _("dry"),
    "wetted": _("wetted"),
    "soaked": _("soaked"),
    "wet": _("wet"),
    "static": _("static"),
    "shock": _("shock"),
    "before": _("before"),
    "between": _("between"),
    "after": _("after"),
    # materials
    "nylon monofilament": _("nylon monofilament"),
    "copolymer": _("copolymer"),
    "fluorocarbon": _("fluorocarbon"),
    "braided polyethylene": _("braided polyethylene"),
    "fused polyethylene": _("fused polyethylene"),
    "braided polyester": _("braided polyester"),
    "knottable wire trace": _("knottable wire trace"),
    "other": _("other"),
    # labels
    "test": _("test"),
    "tournament class": _("tournament class"),
    "knot strength": _("knot strength"),
    "unknown": _("unknown"),
    # joins
    "line to line": _("line to line"),
    "line to terminal": _("line to terminal"),
    "loop or doubled line": _("loop or doubled line"),
    "splice": _("splice"),
    "crimp": _("crimp"),
    "integer": _("integer"),
    "number": _("number"),
    "yes or no": _("yes or no"),
    "choice": _("choice"),
    # how a rig loads
    "water or sand run into a container": _("water or sand run into a container"),
    "weights added": _("weights added"),
    "hand winch": _("hand winch"),
    "lever": _("lever"),
    "screw": _("screw"),
    "hydraulic": _("hydraulic"),
    "motor": _("motor"),
    "testing machine": _("testing machine"),
    # what shows the load
    "spring scale": _("spring scale"),
    "dial scale": _("dial scale"),
    "digital scale": _("digital scale"),
    "load cell": _("load cell"),
    "platform scale": _("platform scale"),
    "sum of weights": _("sum of weights"),
    "pressure gauge": _("pressure gauge"),
    "peak hold": _("peak hold"),
    "video": _("video"),
    "read by eye": _("read by eye"),
    "last weight added": _("last weight added"),
    # what holds the line
    "bollard": _("bollard"),
    "jaws": _("jaws"),
    "cleat": _("cleat"),
    "eye": _("eye"),
    "knot": _("knot"),
    "hook or swivel": _("hook or swivel"),
    "spool": _("spool"),
    # check weights
    "certified": _("certified"),
    "bought as": _("bought as"),
    "weighed on a kitchen scale": _("weighed on a kitchen scale"),
    "water by volume": _("water by volume"),
    "coins or plates": _("coins or plates"),
    "rising": _("rising"),
    "falling": _("falling"),
    # what a report is of
    "pull set": _("pull set"),
    "pool": _("pool"),
    "connection": _("connection"),
    "line": _("line"),
    "rig": _("rig"),
    "contributor": _("contributor"),
    # series
    "straight line": _("straight line"),
    "join": _("join"),
    # sources of an uncertainty budget
    "scatter of readings": _("scatter of readings"),
    "calibration line: gain and zero": _("calibration line: gain and zero"),
    "tying: scatter of joined pulls": _("tying: scatter of joined pulls"),
    "baseline: scatter of straight pulls": _("baseline: scatter of straight pulls"),
    "zero of the scale": _("zero of the scale"),
    "gain of the scale, which cancels": _("gain of the scale, which cancels"),
    "resolution": _("resolution"),
    "resolution, joined pulls": _("resolution, joined pulls"),
    "resolution, straight pulls": _("resolution, straight pulls"),
}
"""By what is stored; in English the same."""
