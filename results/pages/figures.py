"""Figures as people read them: template filters for efficiencies, intervals, loads and days.

Decimal marks and dates follow the reader's language; the API and files of data don't come here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from functools import partial
from typing import Any

from django import template
from django.template.defaultfilters import floatformat
from django.utils.formats import date_format, get_format
from django.utils.html import format_html
from django.utils.translation import gettext, gettext_lazy

from results.models import CheckResult, Pool, PoolVersion, PullSet, Session
from results.models.connections import tie_of
from results.models.declared import Form, Kept, Kind, figure_at, kept_in
from results.models.lifecycle import COUNTING
from results.pages.vocabulary import WORDS
from results.pools.estimate import efficiency_of
from results.pools.figures import figures_of, values_of
from results.review.moved import moved_by
from results.review.selectors import said_beyond, sentences_of
from rigs.metrology.units import FORCE_UNITS, LENGTH_UNITS, UnitError, parse_force

register = template.Library()

PROVISIONAL_BELOW = 5
"""Number of testers below which a figure is called provisional: with four the t interval's factor
is still 3.2, from five on each further tester narrows it slowly."""

MODES = {
    "join": gettext_lazy("at the join"),
    "slip": gettext_lazy("slipped"),
    "line": gettext_lazy("in the line"),
    "grip": gettext_lazy("at the grip"),
    "terminal": gettext_lazy("in the terminal"),
    "none": gettext_lazy("held to the end of travel"),
    "void": gettext_lazy("void"),
}


COMES_TO = {
    PullSet.State.HELD: gettext_lazy("it counts in no pool until it is released"),
    PullSet.State.REJECTED: gettext_lazy("it counts in no pool"),
    PullSet.State.WITHDRAWN: gettext_lazy("it counts in no pool"),
}


def decimal(number: float, places: int, sign: str = "") -> str:
    """A number with so many decimals and the reader's decimal mark; ``sign`` as in a format."""
    written = f"{round(number, places) + 0.0:{sign}.{places}f}"
    return written.replace(".", get_format("DECIMAL_SEPARATOR"))


@register.filter(expects_localtime=True)
def day(when: date | None) -> str:
    """A day as its reader writes it: ``10 Jan 2026``."""
    return date_format(when, "DATE_FORMAT") if when else ""


@register.filter(expects_localtime=True)
def moment(when: datetime | None) -> str:
    """A day and the time of it, UTC: ``10 Jan 2026 14:05``."""
    return f"{day(when)} {date_format(when, 'H:i')}" if when else ""


@register.filter
def percent(ratio: float | None, places: int = 1) -> str:
    """A ratio as percent: ``82.6%``."""
    if ratio is None:
        return ""
    return gettext("%(number)s%%") % {"number": decimal(100 * ratio, places)}


@register.filter
def unit_of_force(written: str) -> str:
    """The unit of a force as it was written with it, ``lbf`` of ``0.1 lbf``; empty without one."""
    try:
        return parse_force(written).unit
    except UnitError:
        return ""


@register.filter
def percent_fine(ratio: float) -> str:
    """A small ratio as percent: ``0.03%``."""
    return percent(ratio, 2)


@register.filter
def change(ratio: float) -> str:
    """A change in percent of what changes, with its sign: ``+2.1%``."""
    return gettext("%(number)s%%") % {"number": decimal(100 * ratio, 1, "+")}


@register.filter
def probability(p: float) -> str:
    """A p value to three places; one that they don't show is below the least of them."""
    least = 0.001
    return decimal(p, 3) if p >= least else f"< {decimal(least, 3)}"


@register.filter
def signed(value: float) -> str:
    """Percent as a number, with its sign: ``-4.1``."""
    return decimal(value, 1, "+")


@register.filter
def tenth(value: float) -> str:
    return decimal(value, 1)


@register.filter
def hundredth(value: float) -> str:
    return decimal(value, 2)


@register.filter
def more(ratio: float) -> str:
    """What a ratio is over one, with its sign: 1.12 as ``+12.0%``."""
    return gettext("%(number)s%%") % {"number": decimal(100 * (ratio - 1), 1, "+")}


@register.filter
def chance(probability: float) -> str:
    """A probability in whole hundredths, none of them certain: ``62 in 100``."""
    hundredths = round(100 * probability)
    if hundredths == 0:
        return gettext("under 1 in 100")
    if hundredths == 100:
        return gettext("over 99 in 100")
    return gettext("%(number)d in 100") % {"number": hundredths}


@register.simple_tag
def between(low: float | None, high: float | None) -> str:
    """An interval of ratios as percent, and in words where an end is open."""
    if low is None and high is None:
        return gettext("open at both ends")
    if low is None:
        return gettext("up to %(high)s, open below") % {"high": percent(high)}
    if high is None:
        return gettext("from %(low)s, open above") % {"low": percent(low)}
    return gettext("%(low)s to %(high)s") % {"low": decimal(100 * low, 1), "high": percent(high)}


@register.simple_tag
def lowest_to_highest(lowest: float, highest: float) -> str:
    """What several ratios reach from and to as percent; one figure where they read alike."""
    alike = decimal(100 * lowest, 1) == decimal(100 * highest, 1)
    return percent(highest) if alike else between(lowest, highest)


@register.simple_tag(takes_context=True)
def share(context: template.Context, ratio: float | None) -> str:
    """A share of straight line, and the load it is of the reader's own: ``82.6% 33.0 lbf``.

    The page's ``pool`` says what a label is worth, where a label was given.
    """
    return _with_load(context, percent(ratio), ratio)


@register.simple_tag(takes_context=True)
def share_between(context: template.Context, low: float | None, high: float | None) -> str:
    """An interval of shares, and the loads that its ends are of the reader's own line."""
    return _with_load(context, between(low, high), low, high)


def _with_load(context: template.Context, written: str, *shares: float | None) -> str:
    pool = context.get("pool")
    load = context["own_line"].load(None if pool is None else pool.pk, *shares)
    return format_html('{} <span class="load">{}</span>', written, load) if load else written


register.filter("moved_by", moved_by)


@register.filter
def honest_reasons(checks: Sequence[CheckResult]) -> str:
    """Why honest sets trip these checks, each sentence once."""
    return " ".join(dict.fromkeys(str(each.hold.reasons) for each in checks if each.hold))


@register.filter
def what_settles_it(checks: Sequence[CheckResult]) -> str:
    """What settles these checks, each sentence once."""
    return " ".join(dict.fromkeys(str(each.hold.settled_by) for each in checks if each.hold))


@register.filter
def beyond(text: str, checks: Sequence[CheckResult]) -> str:
    """What the service's reason says that a page, which lists these checks, does not say already.

    A person's letter is shown whole, as it was sent.
    """
    return said_beyond(text, sentences_of(checks)) or (
        gettext("for what stands above") if text else ""
    )


@register.filter
def comes_to(pull_set: PullSet) -> str:
    """Whether a set counts by its state, in words."""
    state, session = pull_set.state, pull_set.session
    if state in COUNTING:
        return gettext("it counts in its pool")
    if state == PullSet.State.WITHDRAWN and session.standing == Session.Standing.REPLACED:
        return gettext("a corrected version of its session took its place")
    return str(COMES_TO.get(PullSet.State(state), ""))


@register.filter
def provisional(version: PoolVersion) -> bool:
    """Whether the figure of a version rests on few testers yet."""
    return version.efficiency is not None and version.testers < PROVISIONAL_BELOW


@register.filter
def sd(variance: float | None) -> str:
    """A standard deviation on the log scale, near enough one in percent of the value."""
    return gettext("any amount") if variance is None else percent(math.sqrt(max(variance, 0.0)))


def p_value(probability: float) -> str:
    """A p value with its sign: ``= 0.013``."""
    return f"< {decimal(0.001, 3)}" if probability < 0.001 else f"= {decimal(probability, 3)}"


FORMS: dict[Form, Callable[[Any], str]] = {
    Form.PERCENT: percent,
    Form.EXP: lambda log_ratio: percent(efficiency_of(log_ratio)),
    Form.SHARE: partial(percent, places=0),
    Form.SD: sd,
    Form.DECIMAL: partial(floatformat, arg=1),
    Form.WHOLE: partial(floatformat, arg=0),
    Form.P: p_value,
}


def written(value: Any, form: Form) -> str:
    """A figure as its declaration has it written."""
    return FORMS[form](value)


class Written:
    """The figures of a version by name, as pages write them: columns first, then its figures."""

    def __init__(self, version: PoolVersion) -> None:
        self._version, self._figures = version, figures_of(version)

    def __getitem__(self, name: str) -> str:
        """Raises NotComputed where the version lacks it, KeyError where it is not declared."""
        columns = {figure.name: figure for figure in kept_in(Kept.COLUMN)}
        figure = columns.get(name) or figure_at(f"{Kept.FIGURES}.{name}")
        assert figure.form is not None, f"{figure.path} is declared with no form"
        if figure.kept is Kept.FIGURES:
            return written(self._figures[name], figure.form)
        values = values_of(self._version, figure)
        return between(*values) if figure.kind is Kind.ENDS else written(values[0], figure.form)


@register.filter
def figure(version: PoolVersion, name: str) -> str:
    """A figure of a version as it is declared to be written: ``{{ version|figure:"bulk" }}``."""
    return Written(version)[name]


@register.simple_tag
def label(path: str) -> str:
    """What pages call a figure: ``{% label "bulk" %}``."""
    return str(figure_at(path).label)


@register.simple_tag(takes_context=True)
def force(context: template.Context, force_N: float | None) -> str:
    """A force as its reader chose to have it: ``97.1 N`` or ``21.8 lbf``."""
    if force_N is None:
        return ""
    if context.get("measures") == "imperial":
        return f"{decimal(force_N / FORCE_UNITS['lbf'], 1)} lbf"
    return newtons(force_N)


@register.simple_tag(takes_context=True)
def length(context: template.Context, length_m: float | None) -> str:
    """A diameter as its reader chose to have it: ``0.35 mm`` or ``0.0138 in``."""
    if length_m is None:
        return ""
    if context.get("measures") == "imperial":
        return f"{decimal(length_m / LENGTH_UNITS['in'], 4)} in"
    return f"{decimal(1000 * length_m, 2)} mm"


@register.simple_tag
def over(value: float, reference: float) -> str:
    """One load over another: ``1.08``."""
    return decimal(value / reference, 2)


@register.filter
def newtons(force_N: float | None) -> str:
    """A force: ``97.1 N``."""
    return "" if force_N is None else f"{decimal(force_N, 1)} N"


@register.filter
def mode(name: str) -> str:
    """A failure mode in words."""
    return str(MODES.get(name, name))


@register.filter
def word(stored: str) -> str:
    """A word of a fixed list: what is stored, in the reader's language."""
    return str(WORDS.get(stored, stored))


@register.filter
def tie(of: Pool | PullSet) -> str:
    """The join of a pool or a set and its variant: ``Palomar, doubled``."""
    return tie_of(of.connection.name, of.doubled)


@register.filter
def line_pair(pool: Pool) -> str:
    """The two materials, or the material and the terminal: ``copolymer to hook``."""
    other = word(pool.leader_material) if pool.leader_material else pool.terminal
    return gettext("%(main)s to %(other)s") % {"main": word(pool.main_material), "other": other}


@register.filter
def conditions(pool: Pool) -> str:
    """Wet or dry, and shock where it was: ``dry, shock``."""
    names = [word("wet" if pool.wet else "dry"), *([word("shock")] if pool.shock else [])]
    return ", ".join(names)


@register.filter
def whole_name(pool: Pool) -> str:
    """All that a pool is of: its tie, line pair and conditions."""
    return f"{tie(pool)}, {line_pair(pool)}, {conditions(pool)}"


@register.filter
def modes(counts: Mapping[str, int]) -> str:
    """Pulls by failure mode in words, the commonest first."""
    common = sorted(counts.items(), key=lambda item: -item[1])
    return ", ".join(f"{count} {mode(name)}" for name, count in common)


@register.filter
def as_label(name: str) -> str:
    """A parameter's name in words: ``turns_main`` as ``turns main``."""
    return name.replace("_", " ")
