"""What the figures of a pool say, in plain words with each statistic's name beside."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from results.models import PoolVersion
from results.pages.figures import between, decimal, percent
from results.pools.figures import Figures, NotComputed, figures_of
from results.statistics.prediction import FEW_TESTERS

SCATTER = {
    "tester": gettext_lazy("From tester to tester, efficiencies scatter by %(sd)s of their value."),
    "session": gettext_lazy("From one session to the next of the same tester, by %(sd)s."),
    "set": gettext_lazy("From set to set within a session, by %(sd)s."),
}

PARTS = {
    "interval": (gettext_lazy("The interval of the value"), "interval"),
    "prediction": (gettext_lazy("What to expect of a new tester"), "prediction"),
    "tau2_tester": (gettext_lazy("How sure the scatter between testers is"), "tau"),
    "tau2_session": (gettext_lazy("How sure the scatter between sessions is"), "tau"),
    "tau2_set": (gettext_lazy("How sure the scatter between sets is"), "tau"),
    "total": (gettext_lazy("How sure the share of real variation is"), "i2"),
    "heterogeneity": (gettext_lazy("The share of variation that is real"), "i2"),
    "leave_one_out": (gettext_lazy("The figure without each tester"), "efficiency"),
}
"""Parts of a pool that may not be estimable, as pages call them, and where each is explained."""

NEEDED = {"interval": "interval", "prediction": "prediction", "i2": "heterogeneity"}
"""What a statement can't be made without, by where it is explained."""


@dataclass(frozen=True)
class Statement:
    """One finding: in words, the statistic behind it, and where the about page explains it."""

    words: str
    statistic: str
    anchor: str


def statements(version: PoolVersion) -> list[Statement]:
    """Everything to be said of a pooled figure; nothing where there is none."""
    if version.efficiency is None:
        return []
    figures = figures_of(version)
    missing = figures.get("not_estimable", {})
    sentences = [
        _told(version, figures, anchor, say)
        for anchor, say in SAID
        if NEEDED.get(anchor) not in missing
    ]
    return sentences + [
        Statement(
            _("%(part)s can't be computed from these sets.") % {"part": named},
            missing[part],
            anchor,
        )
        for part, (named, anchor) in PARTS.items()
        if part in missing
    ]


def _told(version: PoolVersion, figures: Figures, anchor: str, say: Say) -> Statement:
    """A statement, or that the version was computed before there was what it says."""
    try:
        return say(version, figures)
    except NotComputed as missing:
        words = _("Not computed for this version yet; the next one will say it.")
        return Statement(words, _("Lacking: %(name)s") % {"name": missing.args[0]}, anchor)


def _value(version: PoolVersion, _figures: Figures) -> Statement:
    efficiency = percent(version.efficiency)
    return Statement(
        _("Tied and pulled by many, it holds %(value)s of the straight line's strength.")
        % {"value": efficiency},
        _("Pooled efficiency, three-level restricted likelihood: %(value)s")
        % {"value": efficiency},
        "efficiency",
    )


def _interval(version: PoolVersion, figures: Figures) -> Statement:
    interval = between(version.interval_low, version.interval_high)
    return Statement(
        _("Its true value likely lies in the range of %(interval)s.") % {"interval": interval},
        _("95%% interval, CR2, %(df)s degrees of freedom: %(interval)s")
        % {"df": decimal(figures["df_satterthwaite"], 1), "interval": interval},
        "interval",
    )


def _expected(version: PoolVersion, figures: Figures) -> Statement:
    prediction = between(version.prediction_low, version.prediction_high)
    return Statement(
        _("The mean of a tester new to it is expected in the range of %(interval)s.")
        % {"interval": prediction},
        _prediction(figures, prediction),
        "prediction",
    )


def _prediction(figures: Figures, interval: str) -> str:
    if figures["testers"] <= FEW_TESTERS:
        return _("95%% prediction interval, t on %(df)d degrees of freedom: %(interval)s") % {
            "df": figures["prediction_df"],
            "interval": interval,
        }
    return _(
        "95%% prediction interval, averaged over what the variance between testers may be: "
        "%(interval)s"
    ) % {"interval": interval}


def _scatter(level: str, _version: PoolVersion, figures: Figures) -> Statement:
    tau = _sd(figures[f"tau2_{level}"])
    if level not in figures["fitted"]:
        return Statement(
            _("Scatter from %(level)s to %(level)s can't be told apart here yet.")
            % {"level": level},
            _("τ %(level)s: not fitted") % {"level": level},
            "tau",
        )
    if f"tau2_{level}" in figures.get("not_estimable", {}):
        return Statement(str(SCATTER[level]) % {"sd": tau}, f"τ {level} {tau}", "tau")
    low, high = (_sd(end) for end in figures[f"tau2_{level}_interval"])
    return Statement(
        str(SCATTER[level]) % {"sd": tau},
        _("τ %(level)s %(tau)s, 95%% profile interval %(low)s to %(high)s")
        % {"level": level, "tau": tau, "low": low, "high": high},
        "tau",
    )


def _shares(_version: PoolVersion, figures: Figures) -> Statement:
    shares = ", ".join(f"{level} {_share(figures[f'I2_{level}'])}" for level in SCATTER)
    return Statement(
        _("%(share)s of the variation between sets is real, not chance in the pulling.")
        % {"share": _share(figures["I2_total"])},
        _("I² %(total)s (%(shares)s)") % {"total": _share(figures["I2_total"]), "shares": shares},
        "i2",
    )


def _disagreement(_version: PoolVersion, figures: Figures) -> Statement:
    p = figures["Q_p"]
    verdict = (
        _("The sets differ by more than chance in the pulling would have them.")
        if p < 0.05
        else _("The sets differ by no more than chance in the pulling would have them.")
    )
    return Statement(
        verdict,
        _("Q %(q)s on %(df)d degrees of freedom, p %(p)s")
        % {
            "q": decimal(figures["Q"], 1),
            "df": figures["Q_df"],
            "p": f"< {decimal(0.001, 3)}" if p < 0.001 else f"= {decimal(p, 3)}",
        },
        "q",
    )


def _within(version: PoolVersion, _figures: Figures) -> Statement:
    return Statement(
        _("Within a set, single ties scatter by %(join)s; straight line by %(line)s.")
        % {"join": percent(version.cv_join), "line": percent(version.cv_baseline)},
        _("Pooled coefficient of variation, join and baseline"),
        "cv",
    )


def _sd(variance: float | None) -> str:
    """A standard deviation on the log scale, near enough one in percent of the value."""
    return _("any amount") if variance is None else percent(math.sqrt(max(variance, 0.0)))


def _share(fraction: float) -> str:
    return percent(fraction, 0)


Say = Callable[[PoolVersion, Figures], Statement]
SAID: list[tuple[str, Say]] = [
    ("efficiency", _value),
    ("interval", _interval),
    ("prediction", _expected),
    *(("tau", partial(_scatter, level)) for level in SCATTER),
    ("i2", _shares),
    ("q", _disagreement),
    ("cv", _within),
]
"""What is said of a figure, in order, and where the about page explains it."""
