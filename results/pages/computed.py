"""How the figures of pages are computed, in one sentence each, by what the page calls them.

Those of pools are declared with the figures (`results.models.declared`); here is what pages say
beside them. `tests/kept_store/test_methods_on_pages.py` walks the pages and refuses a figure that
has none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django import template
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from results.models.declared import figure_at

register = template.Library()


@dataclass(frozen=True)
class Method:
    """What a page calls some figures, and how they are computed."""

    labels: tuple[Promise, ...]
    sentence: Promise | str


def _of_pool(path: str, *labels: Promise) -> Method:
    return Method(labels, figure_at(path).method)


CONCLUSION = Method(
    (_("Place"), _("Conclusion")),
    _(
        "From the surer of direct comparison and pools for each two joins, with p adjusted for all "
        "pairs of the line pair by Holm."
    ),
)
LIST = (
    _of_pool("efficiency", _("Keeps on average")),
    _of_pool("interval", _("The range below it")),
    _of_pool("held_by_nine", _("9 in 10 hold")),
    _of_pool("prediction", _("A new tester's set")),
    CONCLUSION,
    _of_pool("bulk", _("Thickness"), _("Time")),
)
COMPARISON = (
    CONCLUSION,
    _of_pool("efficiency", _("Efficiency")),
    _of_pool("interval", _("Interval")),
    Method(
        (_("Probability of being best"), _("Probability of beating another")),
        _(
            "From a normal distribution of the joins' true values about a common mean, correlated "
            "by the testers they share and averaged over how much joins and their errors vary; the "
            "second is the P-score."
        ),
    ),
    Method(
        (_("Stronger by"), _("95% interval")),
        _(
            "By restricted likelihood of one model of all contrasts within a baseline, with CR2 "
            "errors by tester and Satterthwaite's degrees of freedom."
        ),
    ),
    Method((_("Compared"),), _("Counted: baselines on which both joins were pulled.")),
    Method((_("From the pools"),), _("The ratio of the two pooled efficiencies.")),
)
HELD = _(
    "A lower bound, 95% sure, by the likelihood of this set's pulls, the lower of lognormal and "
    "Weibull unless one of them fits clearly better."
)
SET = (
    Method(
        (_("Efficiency"),),
        _(
            "The mean load of the join over that of the straight line, corrected for the bias of a "
            "ratio of few pulls (Lajeunesse 2015); the interval is Fieller's, with Welch's degrees "
            "of freedom."
        ),
    ),
    Method(
        (_("Mean load"), _("Scatter")),
        _(
            "Of all counted pulls; where some loads are only 'at least', by maximum likelihood of "
            "the lognormal distribution."
        ),
    ),
    Method(
        (_("Join itself"),),
        _(
            "Pulls that ended elsewhere say only 'at least'; where the pool tells how much joins "
            "scatter, the median and the central 95% by that scatter and Jeffreys' prior of the "
            "level."
        ),
    ),
    Method((_("Nine in ten ties hold"),), HELD),
    Method((_("Worst pull"),), _("The lowest load of the join over the mean of its baseline.")),
    Method(
        (_("In the pool"),),
        _("The pool takes the scatter of all its sets in place of this set's own."),
    ),
    Method(
        (_("Load"),),
        _("The reading less the zero of the calibration, over its gain; else the reading."),
    ),
    Method(
        (_("Contribution"), _("Standard uncertainty"), _("Sensitivity")),
        _(
            "By the law of propagation of uncertainty (JCGM 100): what a source contributes is its "
            "standard uncertainty times the sensitivity, and the expanded uncertainty takes "
            "Welch's and Satterthwaite's degrees of freedom."
        ),
    ),
)
RIG = (
    Method(
        (_("Mean"), _("Scatter")),
        _(
            "Of the session's counted pulls, the scatter as standard deviation over mean; that of "
            "a calibration is the standard deviation of its residuals."
        ),
    ),
    Method(
        (_("Change"),),
        _(
            "The ratio of the session's mean to the first one's, its errors those of the pulls and "
            "of the rig from day to day; the intervals hold together at 95% (Dunnett)."
        ),
    ),
    Method(
        (_("Change per session"),),
        _(
            "By least squares of the logarithm of the mean on the session's number, with Student's "
            "t."
        ),
    ),
    Method(
        (_("Did the change shift the readings?"),),
        _(
            "Two one-sided tests of the ratio of means, with the scatter from day to day: the same "
            "where its 90% interval lies within 5% either way."
        ),
    ),
    Method(
        (_("Gain"), _("Zero"), _("Correlation"), _("Residual")),
        _("Least squares of reading on the force of the check weights (JCGM 100, H.3)."),
    ),
    Method(
        (_("Bend"),),
        _(
            "How far a parabola through the readings leaves its chord at mid range; p is that of a "
            "two-sided t test of its square term."
        ),
    ),
    Method((_("Range"),), _("The least and the greatest force of the check weights.")),
    Method((_("Force"),), _("The mass times local gravity, less the buoyancy of air.")),
)
TYING = (
    Method(
        (_("Your efficiency"),),
        _("The generalised least squares mean of your sets, at the pool's variances."),
    ),
    _of_pool("efficiency", _("The others' efficiency")),
    Method(
        (_("How you compare"),),
        _(
            "The place of your mean in the prediction distribution of the pool without you, "
            "widened by your own sampling error."
        ),
    ),
    Method(
        (_("Your scatter"),),
        _("The ratio of your coefficient of variation to the others', with an interval by F."),
    ),
    Method(
        (_("Work on"),),
        _(
            "Variance of the join less that of straight line is tying, and what of it goes beyond "
            "the pool's is your own; intervals of the differences are by MOVER."
        ),
    ),
    Method(
        (_("What you can detect"), _("Plan your sessions")),
        _(
            "The difference that a two-sided t test at 5% finds four times in five, by the "
            "noncentral t distribution."
        ),
    ),
)
PAGES: Mapping[str, Iterable[Method]] = {
    "list": LIST,
    "comparison": COMPARISON,
    "set": SET,
    "set computed before": (*SET, Method((_("95 in 100 ties hold"),), HELD)),
    "rig": RIG,
    "tying": TYING,
}


@register.inclusion_tag("pages/computed.html")
def computed(page: str) -> dict[str, Any]:
    """How the figures of a page are computed."""
    return {"methods": PAGES[page]}
