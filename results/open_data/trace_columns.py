"""Columns of the archive of traces. Written by `results.open_data.traced`, which needs Parquet."""

from __future__ import annotations

from results.open_data.fields import Column, Table, number, text, whole

TRACES = Table(
    "traces",
    "Force over time of single pulls, as a load cell gave it: a row a pull. Forces are readings, "
    "before any calibration.",
    (
        whole("pull", "number of the pull", required=True),
        whole("pull_set", "the set it is of"),
        whole("baseline", "the baseline it is of"),
        whole("session", "the session it was pulled in"),
        text("unit", "of its forces, as its logger writes them"),
        number("unit_N", "newtons of one such unit"),
        whole("samples", "how many there are"),
        number("peak_N", "highest sample, newtons of reading"),
        whole("time_decimals", "decimals of the clock: seconds are time_ticks / 10^time_decimals"),
        whole("force_decimals", "decimals written: forces are force_steps / 10^force_decimals"),
        Column("time_ticks", "array", "time since the first sample, in steps of the clock"),
        Column("force_steps", "array", "force of each sample, in the last decimal written"),
    ),
    # No version has them: a month's file is written from the traces of that month.
    tuple,
    ("pull",),
    {
        "pull": ("pulls", "pull"),
        "pull_set": ("pull_sets", "pull_set"),
        "baseline": ("baselines", "baseline"),
        "session": ("sessions", "session"),
    },
)
