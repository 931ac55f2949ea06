"""What the figures of a pool say, in plain words with each statistic's name beside."""

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
    sentences = [_told(version, figures, figure) for figure in said() if figure.part not in missing]
    return sentences + [
        Statement(
            _("%(part)s can't be computed from these sets.") % {"part": named},
            missing[part],
            anchor,
        )
        for part, (named, anchor) in PARTS.items()
        if part in missing
    ]


def said() -> list[Figure]:
    """Figures that pages say something of, in order."""
    others = [each for each in declared.DECLARED if each.says and each.path not in FIRST]
    return [*map(declared.figure_at, FIRST), *others]


def _told(version: PoolVersion, figures: Figures, figure: Figure) -> Statement:
    """A statement, or that the version was computed before there was what it says."""
    say = IN_OTHER_WORDS.get(figure.path) or _in_a_sentence(figure)
    try:
        words, statistic = say(version, figures)
    except NotComputed as missing:
        words = _("Not computed for this version yet; the next one will say it.")
        statistic = _("Lacking: %(name)s") % {"name": missing.args[0]}
    return Statement(words, statistic, figure.anchor)


def _in_a_sentence(figure: Figure) -> Say:
    """What is declared to be said of a figure."""
    sentence = figure.says
    assert sentence is not None

    def say(version: PoolVersion, _figures: Figures) -> tuple[str, str]:
        shown = Written(version)
        return str(sentence.words) % shown, str(sentence.statistic) % shown

    return say


def _expected(version: PoolVersion, figures: Figures) -> tuple[str, str]:
    prediction = between(version.prediction_low, version.prediction_high)
    return (
        _("The mean of a tester new to it is expected in the range of %(interval)s.")
        % {"interval": prediction},
        _prediction(figures, prediction),
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


def _scatter(level: str, _version: PoolVersion, figures: Figures) -> tuple[str, str]:
    tau = _sd(figures[f"tau2_{level}"])
    if level not in figures["fitted"]:
        return (
            _("Scatter from %(level)s to %(level)s can't be told apart here yet.")
            % {"level": level},
            _("τ %(level)s: not fitted") % {"level": level},
        )
    if f"tau2_{level}" in figures.get("not_estimable", {}):
        return (str(SCATTER[level]) % {"sd": tau}, f"τ {level} {tau}")
    low, high = (_sd(end) for end in figures[f"tau2_{level}_interval"])
    return (
        str(SCATTER[level]) % {"sd": tau},
        _("τ %(level)s %(tau)s, 95%% profile interval %(low)s to %(high)s")
        % {"level": level, "tau": tau, "low": low, "high": high},
    )


def _disagreement(version: PoolVersion, figures: Figures) -> tuple[str, str]:
    verdict = (
        _("The sets differ by more than chance in the pulling would have them.")
        if figures["Q_p"] < 0.05
        else _("The sets differ by no more than chance in the pulling would have them.")
    )
    return (verdict, _("Q %(Q)s on %(Q_df)s degrees of freedom, p %(Q_p)s") % Written(version))


def _sd(variance: float | None) -> str:
    return written(variance, Form.SD)


Say = Callable[[PoolVersion, Figures], tuple[str, str]]
IN_OTHER_WORDS: dict[str, Say] = {
    "prediction": _expected,
    **{f"figures.tau2_{level}": partial(_scatter, level) for level in SCATTER},
    "figures.Q": _disagreement,
}
"""What is said by circumstances, and so in no one sentence."""
