"""The strength of a reader's own line: asked for on pages, kept in a cookie, shown as loads."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from results.models import Pool
from results.pages.figures import decimal
from results.pages.measures import A_YEAR_S
from results.pages.rigs.forms import QuantityField, newtons
from results.pools.label_ratios import label_ratios
from rigs.metrology import bounds, units

COOKIE = "own_line"
STRENGTH, BY_LABEL = "strength", "by_label"
ADDED = " label"
"""What the cookie adds to a strength that is a label's."""


class OwnLine(forms.Form):
    """The strength of a reader's own line, as pulled or as its label has it."""

    strength = QuantityField(
        newtons,
        bounds.READING_N,
        " N",
        label=gettext_lazy("Your weaker line, as pulled"),
        required=False,
        widget=forms.TextInput({"placeholder": gettext_lazy("40 lbf or 18 kg")}),
    )
    by_label = forms.BooleanField(label=gettext_lazy("line by its label"), required=False)

    def __init__(self, written: Mapping[str, str], beside: Iterable[tuple[str, str]] = ()) -> None:
        """``beside`` is what else was asked of the page, to be asked again with the strength."""
        super().__init__(written, label_suffix="")
        self.beside = list(beside)
        self.ratios: Mapping[int, float] = {}

    @property
    def force(self) -> units.Force | None:
        """What was written, as a load in its own unit; None where nothing fit was."""
        written = self.cleaned_data[STRENGTH][1] if self.is_valid() else ""
        return units.parse_force(written) if written else None

    @property
    def kept(self) -> str:
        """What the cookie keeps of it; empty where there is nothing to keep."""
        if self.force is None:
            return ""
        added = ADDED if self.cleaned_data[BY_LABEL] else ""
        return f"{self.cleaned_data[STRENGTH][1]}{added}"

    def know_labels(self, pools: Iterable[Pool]) -> None:
        """Look up what lines of these pools hold of their labels, if a label was given."""
        if self.force is not None and self.cleaned_data[BY_LABEL]:
            self.ratios = label_ratios([pool.pk for pool in pools])

    def ratio_to_label(self, pool: int) -> float | None:
        """What lines of this pool hold of their labels; None where a label tells nothing."""
        return self.ratios.get(pool)

    def load(self, pool: int | None, *shares: float | None) -> str:
        """The load at one or two shares of the line's strength, in the unit it was written in.

        Three figures, as a tester's scale gives them; empty where no strength or share is known.
        """
        force, known = self.force, [share for share in shares if share is not None]
        if force is None or len(known) < len(shares):
            return ""
        strength = force.value
        if self.cleaned_data[BY_LABEL]:
            ratio = None if pool is None else self.ratio_to_label(pool)
            if ratio is None:
                return ""
            strength *= ratio
        return f"{_(' to ').join(_three_figures(strength * each) for each in known)} {force.unit}"


def _three_figures(value: float) -> str:
    places = max(0, 2 - math.floor(math.log10(value))) if value > 0 else 0
    return decimal(value, min(places, 4))


def own_line_of(request: HttpRequest, pools: Iterable[Pool] = ()) -> OwnLine:
    """What the reader wrote just now, or else before; ``pools`` are those shown on the page."""
    beside = [
        (name, str(value))
        for name, value in request.GET.items()
        if name not in (STRENGTH, BY_LABEL)
    ]
    found = OwnLine(request.GET if STRENGTH in request.GET else _kept_in(request), beside)
    found.know_labels(pools)
    return found


def _kept_in(request: HttpRequest) -> dict[str, str]:
    written = request.COOKIES.get(COOKIE, "")
    strength = written.removesuffix(ADDED)
    return {STRENGTH: strength} | ({BY_LABEL: "on"} if strength != written else {})


def own_line(request: HttpRequest) -> dict[str, OwnLine]:
    """For the templates of pages whose view looks up no pools."""
    return {"own_line": own_line_of(request)}


def remember_own_line(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Keep the strength that a reader sends with a page's form; an empty one forgets it."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        match = request.resolver_match
        if STRENGTH not in request.GET or match is None or match.namespace != "pages":
            return response
        written = OwnLine(request.GET)
        if written.kept:
            response.set_cookie(
                COOKIE, written.kept, max_age=A_YEAR_S, samesite="Lax", httponly=True
            )
        elif written.is_valid() and COOKIE in request.COOKIES:
            response.delete_cookie(COOKIE, samesite="Lax")
        return response

    return middleware
