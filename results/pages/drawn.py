"""Drawings at stable addresses: drawn once, then kept for a day; light, dark, or a picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from django.core.cache import caches
from django.http import HttpResponse

from results.charts.forest_plot import darkened
from results.pages.pools.forests import drawing, on_white

A_DAY_S = 24 * 60 * 60
Form = Literal["light", "dark", "picture"]


def answer(key: str, draw: Callable[[], str], form: Form) -> HttpResponse:
    """The drawing of this key in the form asked for."""
    light = str(caches["kept"].get_or_set(key, draw, timeout=A_DAY_S))
    if form == "picture":
        picture = caches["kept"].get_or_set(
            f"{key}-picture", lambda: on_white(light), timeout=A_DAY_S
        )
        return HttpResponse(picture, content_type="image/png")
    return drawing(darkened(light) if form == "dark" else light)
