"""A pool's figures in plain words, each with its statistic's name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from results.models import PoolVersion, declared
from results.models.declared import Figure, Form
from results.pages.figures import Written, between, written
from results.pools.figures import Figures, NotComputed, figures_of

SCATTER = {
    "tester": gettext_lazy("From tester to tester, efficiencies scatter by %(sd)s of their value."),
    "session": gettext_lazy("From one session to the next of the same tester, by %(sd)s."),
    "set": gettext_lazy("From set to set within a session, by %(sd)s."),
}

UNFITTED = {
    "tester": gettext_lazy("Not enough data yet to estimate the scatter from tester to tester."),
    "session": gettext_lazy("Not enough data yet to estimate the scatter from session to session."),
    "set": gettext_lazy("Not enough data yet to estimate the scatter from set to set."),
}

TAU = {
    "tester": gettext_lazy("τ tester"),
    "session": gettext_lazy("τ session"),
    "set": gettext_lazy("τ set"),
}

PARTS = {
    "interval": (gettext_lazy("The interval of the pooled figure"), "interval"),
    "prediction": (gettext_lazy("What to expect of a new tester's next set"), "prediction"),
    "tau2_tester": (gettext_lazy("How certain the scatter between testers is"), "tau"),
    "tau2_session": (gettext_lazy("How certain the scatter between sessions is"), "tau"),
    "tau2_set": (gettext_lazy("How certain the scatter between sets is"), "tau"),
    "total": (gettext_lazy("How certain the share of real variation is"), "i2"),
    "heterogeneity": (gettext_lazy("The share of variation that is real"), "i2"),
    "leave_one_out": (gettext_lazy("The figure without each tester"), "efficiency"),
}
"""Parts of a pool that may not be estimable, as pages call them, and where each is explained."""

FIRST = (
    "efficiency",
    "interval",
    "prediction",
    *(f"figures.tau2_{level}" for level in SCATTER),
    "figures.I2_total",
    "figures.Q",
    "cv_join",
)
"""Figures that something is said of first, in this order; others follow as they are declared."""


@dataclass(frozen=True)
class Statement:
    """One finding: in words, the statistic behind it, and where the about page explains it.

    ``method`` says in one sentence how the statistic is computed; empty where there is none.
    """

    words: str
    statistic: str
    anchor: str
    method: str = ""


@dataclass(frozen=True)
class Method:
    """How figures are computed, in one sentence, and their names in the API."""

    sentence: str
    names: list[str]


def statements(version: PoolVersion) -> list[Statement]:
    """Everything to be said of a pooled figure; nothing where there is none."""
    if version.efficiency is None:
        return []
    figures = figures_of(version)
    missing = figures.get("not_estimable", {})
    sentences = [
        _statement(version, figures, figure) for figure in said() if figure.part not in missing
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


def methods() -> list[Method]:
    """How each figure that a version publishes is computed, those of one method together."""
    found: dict[str, list[str]] = {}
    for figure in declared.DECLARED:
        found.setdefault(str(figure.method), []).append(figure.path)
    return [Method(sentence, names) for sentence, names in found.items()]


def said() -> list[Figure]:
    """Figures that pages say something of, in order."""
    others = [each for each in declared.DECLARED if each.says and each.path not in FIRST]
    return [*map(declared.figure_at, FIRST), *others]


def _statement(version: PoolVersion, figures: Figures, figure: Figure) -> Statement:
    """A statement, or that the version was computed before there was what it says."""
    say = IN_OTHER_WORDS.get(figure.path) or _in_a_sentence(figure)
    try:
        words, statistic = say(version, figures)
    except NotComputed as missing:
        words = _("Not computed for this version; the next version will show it.")
        statistic = _("Missing: %(name)s") % {"name": missing.args[0]}
        return Statement(words, statistic, figure.anchor)
    return Statement(words, statistic, figure.anchor, str(figure.method))


def _in_a_sentence(figure: Figure) -> Say:
    """What is declared to be said of a figure."""
    sentence = figure.says
    assert sentence is not None

    def say(version: PoolVersion, _figures: Figures) -> tuple[str, str]:
        shown = Written(version)
        return str(sentence.words) % shown, str(sentence.statistic) % shown

    return say


def _interval(version: PoolVersion, figures: Figures) -> tuple[str, str]:
    interval = between(version.interval_low, version.interval_high)
    words = _("The true average is likely to be in the range %(interval)s.") % {
        "interval": interval
    }
    if figures.get("crossed"):
        statistic = _(
            "95%% interval, averaged over the likely variance between line products: %(interval)s"
        )
        return words, statistic % {"interval": interval}
    statistic = _("95%% interval, CR2, %(df_satterthwaite)s degrees of freedom: %(interval)s")
    return words, statistic % Written(version)


def _expected(version: PoolVersion, _figures: Figures) -> tuple[str, str]:
    prediction = between(version.prediction_low, version.prediction_high)
    return (
        _("If you tie it, expect your set to average %(interval)s.") % {"interval": prediction},
        _(
            "95%% prediction interval, averaged over the likely variance between testers: "
            "%(interval)s"
        )
        % {"interval": prediction},
    )


def _scatter(level: str, _version: PoolVersion, figures: Figures) -> tuple[str, str]:
    tau, symbol = _sd(figures[f"tau2_{level}"]), str(TAU[level])
    if level not in figures["fitted"]:
        return str(UNFITTED[level]), _("%(tau)s: not fitted") % {"tau": symbol}
    words = str(SCATTER[level]) % {"sd": tau}
    if f"tau2_{level}" in figures.get("not_estimable", {}):
        return words, f"{symbol} {tau}"
    low, high = (_sd(end) for end in figures[f"tau2_{level}_interval"])
    shown = {"tau": symbol, "sd": tau, "low": low, "high": high}
    wider = figures.get("tau2_tester_robust_interval") if level == "tester" else None
    if not wider or wider == figures["tau2_tester_interval"]:
        return words, _("%(tau)s %(sd)s, 95%% profile interval %(low)s to %(high)s") % shown
    shown |= dict(zip(("lowest", "highest"), map(_sd, wider), strict=True))
    return words, _(
        "%(tau)s %(sd)s, 95%% profile interval %(low)s to %(high)s; %(lowest)s to %(highest)s if "
        "it allows for a tester who stands apart"
    ) % shown


def _disagreement(version: PoolVersion, figures: Figures) -> tuple[str, str]:
    verdict = (
        _("The sets differ by more than chance in the pulls explains.")
        if figures["Q_p"] < 0.05
        else _("The sets differ by no more than chance in the pulls explains.")
    )
    return (verdict, _("Q %(Q)s on %(Q_df)s degrees of freedom, p %(Q_p)s") % Written(version))


def _sd(variance: float | None) -> str:
    return written(variance, Form.SD)


Say = Callable[[PoolVersion, Figures], tuple[str, str]]
IN_OTHER_WORDS: dict[str, Say] = {
    "interval": _interval,
    "prediction": _expected,
    **{f"figures.tau2_{level}": partial(_scatter, level) for level in SCATTER},
    "figures.Q": _disagreement,
}
"""What is said by circumstances, and so in no one sentence."""
