"""The bench sheet: one page to print, for pencil beside the rig."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from results.catalogue.selectors import lines_visible_to
from results.models import Connection
from results.models.sessions import Pull
from results.pages.showing import render
from results.public.readers import reader_of
from results.public.seeing import seen
from rigs import selectors
from rigs.models import Line, Rig

STRAIGHT_ROWS, JOIN_ROWS, SETS = 5, 10, 3

MEANINGS = {
    "join": _("in the join or beside it"),
    "slip": _("the join slipped or came undone: read the peak before it"),
    "line": _("in the free length; say which line"),
    "grip": _("at a grip, crimp, eye or spool"),
    "terminal": _("hook, ring, swivel or sleeve"),
    "none": _("nothing broke: end of the rig's travel"),
    "void": _("reading lost, or the grip slipped"),
}


class BenchSheetForm(forms.Form):
    """What is filled in before it is printed; all of it may stay open for the pencil."""

    rig = forms.ModelChoiceField(Rig.objects.none(), required=False, label=_("Rig"))
    main = forms.ModelChoiceField(Line.objects.none(), required=False, label=_("Main line"))
    leader = forms.ModelChoiceField(Line.objects.none(), required=False, label=_("Leader"))
    join = forms.ModelChoiceField(Connection.objects.none(), required=False, label=_("Join"))

    def __init__(self, request: HttpRequest) -> None:
        super().__init__(request.GET)
        rigs = selectors.rigs()
        asked = request.GET.get("rig", "")
        user, self.reader = request.user, reader_of(request)
        mine = rigs.filter(owner__user=user) if user.is_authenticated else rigs.none()
        self._offer("rig", mine | rigs.filter(pk=asked) if asked.isdecimal() else mine)
        self._offer("main", lines_visible_to(request.user))
        self._offer("leader", lines_visible_to(request.user))
        self._offer("join", Connection.objects.filter(accepted=True).order_by("name"))

    def _offer(self, name: str, rows: QuerySet[Any]) -> None:
        field = cast("forms.ModelChoiceField[Any]", self.fields[name])
        field.queryset = rows
        vars(field)["label_from_instance"] = lambda row: str(seen(row, self.reader))


@require_safe
def bench_sheet(request: HttpRequest) -> HttpResponse:
    """A sheet for one rig, its lines and joins; open where nothing was chosen."""
    form = BenchSheetForm(request)
    chosen = form.cleaned_data if form.is_valid() else {}
    rig = chosen.get("rig")
    revision = rig.latest if rig else None
    return render(
        request,
        "pages/rigs/bench_sheet.html",
        {
            "form": form,
            **chosen,
            "revision": revision,
            "straight_rows": range(1, STRAIGHT_ROWS + 1),
            "join_rows": range(1, JOIN_ROWS + 1),
            "sets": range(1, SETS + 1),
            "modes": [(mode, MEANINGS[mode]) for mode in Pull.FailureMode.values],
        },
    )
