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
    # proposals, sessions that wait, and what notices are about
    "parameter": _("parameter"),
    "open": _("open"),
    "accepted": _("accepted"),
    "mapped": _("mapped"),
    "declined": _("declined"),
    "waiting": _("waiting"),
    "stored": _("stored"),
    "stopped": _("stopped"),
    "set": _("set"),
    "thread": _("thread"),
    "chart": _("chart"),
    "account": _("account"),
    # what became of the results under a code of a round
    "not sent yet": _("not sent yet"),
    "sent": _("sent"),
    "nothing came": _("nothing came"),
    "could not be stored": _("could not be stored"),
    "sent, then withdrawn": _("sent, then withdrawn"),
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
    # what can be followed, and how often it is mailed
    "everything": _("everything"),
    "line pair": _("line pair"),
    "tester": _("tester"),
    "never": _("never"),
    "day": _("day"),
    "week": _("week"),
    # rounds
    "being set up": _("being set up"),
    "closed": _("closed"),
    "centrally": _("centrally"),
    "by each tester": _("by each tester"),
    "sealed": _("sealed"),
    "round": _("round"),
    "queued": _("queued"),
    "running": _("running"),
    "made": _("made"),
    "failed": _("failed"),
    # what a score of a round calls for
    "acceptable": _("acceptable"),
    "warning": _("warning"),
    "action": _("action"),
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

SLIM_MEANS = _("at most twice as thick as the thicker line, and so through rod rings easily")
QUICK_MEANS = _("tied within a minute")
"""What a join's page and the choices of the list mean by these words."""
