"""Figures as people read them: template filters for efficiencies, intervals, loads and counts."""

from __future__ import annotations

from collections.abc import Mapping

from django import template
from django.utils.translation import gettext_lazy as _

from rigs.metrology.units import FORCE_UNITS, LENGTH_UNITS

register = template.Library()

MODES = {
    "join": _("at the join"),
    "slip": _("slipped"),
    "line": _("in the line"),
    "grip": _("at the grip"),
    "terminal": _("in the terminal"),
    "none": _("held to the rig's end"),
    "void": _("void"),
}


@register.filter
def percent(ratio: float | None) -> str:
    """A ratio as percent: ``82.6%``."""
    return "" if ratio is None else f"{100 * ratio:.1f}%"


@register.filter
def percent_fine(ratio: float) -> str:
    """A small ratio as percent: ``0.03%``."""
    return f"{100 * ratio:.2f}%"


@register.filter
def change(ratio: float) -> str:
    """A change in points of percent with its sign: ``+2.1``."""
    return f"{100 * ratio:+.1f}"


@register.filter
def more(ratio: float) -> str:
    """What a ratio is over one, with its sign: 1.12 as ``+12.0%``."""
    return f"{100 * (ratio - 1):+.1f}%"


@register.filter
def chance(probability: float) -> str:
    """A probability in whole hundredths, none of them certain: ``62 in 100``."""
    hundredths = round(100 * probability)
    if hundredths in (0, 100):
        return str(_("under 1 in 100") if hundredths == 0 else _("over 99 in 100"))
    return str(_("%d in 100")) % hundredths


@register.simple_tag
def between(low: float | None, high: float | None) -> str:
    """An interval of ratios as percent, and in words where an end is open."""
    if low is None and high is None:
        return str(_("open at both ends"))
    if low is None:
        return str(_("up to %(high)s, open below")) % {"high": percent(high)}
    if high is None:
        return str(_("from %(low)s, open above")) % {"low": percent(low)}
    return str(_("%(low)s to %(high)s")) % {"low": f"{100 * low:.1f}", "high": percent(high)}


@register.simple_tag(takes_context=True)
def force(context: template.Context, force_N: float | None) -> str:
    """A force as its reader chose to have it: ``97.1 N`` or ``21.8 lbf``."""
    if force_N is None:
        return ""
    if context.get("measures") == "imperial":
        return f"{force_N / FORCE_UNITS['lbf']:.1f} lbf"
    return f"{force_N:.1f} N"


@register.simple_tag(takes_context=True)
def length(context: template.Context, length_m: float | None) -> str:
    """A diameter as its reader chose to have it: ``0.35 mm`` or ``0.0138 in``."""
    if length_m is None:
        return ""
    if context.get("measures") == "imperial":
        return f"{length_m / LENGTH_UNITS['in']:.4f} in"
    return f"{1000 * length_m:.2f} mm"


@register.simple_tag
def over(value: float, reference: float) -> str:
    """One load over another: ``1.08``."""
    return f"{value / reference:.2f}"


@register.filter
def newtons(force_N: float | None) -> str:
    """A force: ``97.1 N``."""
    return "" if force_N is None else f"{force_N:.1f} N"


@register.filter
def mode(name: str) -> str:
    """A failure mode in words."""
    return str(MODES.get(name, name))


@register.filter
def modes(counts: Mapping[str, int]) -> str:
    """Pulls by failure mode in words, the commonest first."""
    common = sorted(counts.items(), key=lambda item: -item[1])
    return ", ".join(f"{count} {mode(name)}" for name, count in common)


@register.filter
def as_label(name: str) -> str:
    """A parameter's name in words: ``turns_main`` as ``turns main``."""
    return name.replace("_", " ")
