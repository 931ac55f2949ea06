"""Access of pages for contributors: the contributor of the signed-in account."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

from django.contrib.auth.decorators import login_required
from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect

from rigs.models import Contributor
from rigs.permissions import is_moderator

M = TypeVar("M", bound=Model)
View = Callable[..., HttpResponseBase]


def contributors_only(view: View) -> View:
    """Lead strangers to sign in, and accounts without a handle to where they choose one."""

    @wraps(view)
    def asked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        try:
            contributor_behind(request)
        except Http404:
            return redirect("pages:join")
        return view(request, *args, **kwargs)

    return login_required(asked)


def own_or_moderated(request: HttpRequest, rows: QuerySet[M]) -> QuerySet[M]:
    """Of rows that have a ``contributor`` those that are one's own; for a moderator all."""
    if is_moderator(request.user):
        return rows
    return rows.filter(contributor=contributor_behind(request))


def contributor_behind(request: HttpRequest) -> Contributor:
    """The contributor who is signed in, with account and club; looked up once a request."""
    kept = vars(request)
    if "contributor" not in kept:
        everybody = Contributor.objects.select_related("club", "user")
        kept["contributor"] = get_object_or_404(everybody, user_id=request.user.pk)
    found: Contributor = kept["contributor"]
    return found
