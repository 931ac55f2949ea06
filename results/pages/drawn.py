"""Drawings at stable addresses, each light, dark, and as a picture.

One drawing is made, in light colours; the other forms follow from it, and a picture is kept by
the very drawing it shows, so that no name outlives its erasure in one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from typing import Literal

import vl_convert
from django.core.cache import caches
from django.http import HttpResponse
from django.urls import URLPattern, path

from results.charts.forest_plot import darkened

A_DAY_S = 24 * 60 * 60
Form = Literal["light", "dark", "picture"]
FORMS = ((".svg", "", "light"), ("-dark.svg", "-dark", "dark"), (".png", "-png", "picture"))
View = Callable[..., HttpResponse]


def addresses(charts: Iterable[tuple[str, View, str]]) -> list[URLPattern]:
    """The addresses of each chart's forms, by address without ending, view and name."""
    return [
        path(f"{address}{ending}", view, {"form": form}, name=f"{name}{suffix}")
        for address, view, name in charts
        for ending, suffix, form in FORMS
    ]


def answer(key: str, draw: Callable[[], str], form: Form) -> HttpResponse:
    """The drawing of this key, drawn once and kept for a day, in the requested format."""
    return shown(str(caches["kept"].get_or_set(key, draw, timeout=A_DAY_S)), form)


def shown(light: str, form: Form) -> HttpResponse:
    """A drawing in the requested format."""
    if form == "picture":
        key = "picture-" + hashlib.sha256(light.encode()).hexdigest()
        picture = caches["kept"].get_or_set(key, lambda: on_white(light), timeout=A_DAY_S)
        return HttpResponse(picture, content_type="image/png")
    return HttpResponse(darkened(light) if form == "dark" else light, content_type="image/svg+xml")


def on_white(svg: str) -> bytes:
    """The drawing as PNG, twice its size in pixels."""
    start = svg.index(">") + 1
    ground = '<rect width="100%" height="100%" fill="#ffffff"/>'
    drawn: bytes = vl_convert.svg_to_png(svg[:start] + ground + svg[start:], scale=2)
    return drawn
