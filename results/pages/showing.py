"""Render a page, with each row in its context as the reader may see it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import shortcuts
from django.http import HttpRequest, HttpResponse

from results.public.readers import reader_of
from results.public.seeing import seen


def render(
    request: HttpRequest,
    template: str,
    context: Mapping[str, Any] | None = None,
    status: int | None = None,
) -> HttpResponse:
    """A page as `django.shortcuts.render` makes it, of what its reader may see."""
    shown = seen(context or {}, reader_of(request))
    return shortcuts.render(request, template, shown, status=status)
