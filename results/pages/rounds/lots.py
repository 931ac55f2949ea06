"""The organiser's own pulls of a spool: entered a piece a line, and what they say."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from results.models import LotPull, Round, RoundLot
from results.pages.rigs.forms import in_words
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.rounds.lot_pulls import occasions_left, record
from results.rounds.reporting import verdict_of
from rigs.metrology.units import FORCE_UNITS
from rigs.refusals import Refused

NUMBER = re.compile(r"\d{1,6}(?:[.,]\d{1,6})?")
BETWEEN = re.compile(r"[;\s]+|,(?=\s|$)")
"""Between readings: a comma too, unless it is a decimal mark."""
NAMED = re.compile(r"^\s*[^\W\d]*\s*\d*\s*:")
"""What a piece is called before its readings, as in "piece 1: 99.1 98.7"."""


class LotPullsForm(forms.Form):
    """Readings of one occasion, a piece a line."""

    occasion = forms.ChoiceField(
        label=gettext_lazy("When"),
        help_text=gettext_lazy(
            "before the samples are made, or after the last pulls of the round; those after it can "
            "be entered once it is closed, too"
        ),
    )
    unit = forms.ChoiceField(
        label=gettext_lazy("Unit"),
        choices=[("", gettext_lazy("choose")), *((unit, unit) for unit in FORCE_UNITS)],
    )
    pieces = forms.CharField(
        label=gettext_lazy("Readings"),
        max_length=8000,
        widget=forms.Textarea({"rows": 10, "inputmode": "decimal"}),
        help_text=gettext_lazy(
            "a line for each piece along the spool, its readings with blanks between: 99.1 98.7. "
            "Where a grip broke one, the piece has a reading less."
        ),
    )

    def __init__(self, *args: Any, occasions: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        chosen = in_words(LotPull.Occasion)
        self.fields["occasion"] = forms.ChoiceField(
            label=self.fields["occasion"].label,
            help_text=self.fields["occasion"].help_text,
            choices=[each for each in chosen if each[0] in ("", *occasions)],
        )

    def clean_pieces(self) -> list[list[Decimal]]:
        """Readings of each piece. Raises ValidationError, naming the line."""
        pieces = []
        for number, line in enumerate(self.cleaned_data["pieces"].splitlines(), start=1):
            written = [each for each in BETWEEN.split(NAMED.sub("", line)) if each]
            wrong = [each for each in written if not NUMBER.fullmatch(each)]
            if wrong:
                raise forms.ValidationError(
                    _("Line %(number)d: found '%(found)s', expected readings, as 99.1 98.7."),
                    params={"number": number, "found": wrong[0][:20]},
                )
            if written:
                pieces.append([Decimal(each.replace(",", ".")) for each in written])
        return pieces


@require_http_methods(["GET", "HEAD", "POST"])
@contributors_only
@never_cache
def lot(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """A spool of one's own round: its pulls, their verdict, and the form for more."""
    organiser = contributor_behind(request)
    of = get_object_or_404(Round, pk=pk, organiser=organiser)
    found = get_object_or_404(of.lots.select_related("line", "round"), number=number)
    left = occasions_left(of, found)
    last = LotPull.objects.filter(lot__round=of).order_by("-pk").first()
    form = LotPullsForm(
        request.POST if request.method == "POST" else None,
        occasions=left,
        initial={"unit": last.unit if last else "", "occasion": left[0] if len(left) == 1 else ""},
        label_suffix="",
    )
    if request.method == "POST" and form.is_valid():
        try:
            record(organiser, found, **form.cleaned_data)
        except Refused as refusal:
            form.add_error(None, _said(refusal))
        else:
            messages.success(request, _("The pulls are stored."))
            return redirect("pages:round-lot", pk, number)
    context = {
        "round": of,
        "title": of.title,
        "name": f"{found.line.name}, {found.spool}",
        "verdict": verdict_of(found),
        "pulled": [(word, _written(found, occasion)) for occasion, word in OCCASIONS],
        "form": form,
        "left": left,
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "pages/rounds/lot.html", context, status=status)


def _said(refusal: Refused) -> list[str]:
    """What is wrong, by the line of the form: pieces are counted from 1."""
    said = []
    for each in refusal.findings:
        piece = re.search(r"\d+", each.row)
        words = {"found": each.found, "expected": each.expected}
        if piece is None:
            said.append(_("Found %(found)s, expected %(expected)s.") % words)
        else:
            words["piece"] = str(int(piece[0]) + 1)
            said.append(_("Piece %(piece)s: found %(found)s, expected %(expected)s.") % words)
    return said or [refusal.detail]


OCCASIONS = (
    (LotPull.Occasion.BEFORE, gettext_lazy("Before the round")),
    (LotPull.Occasion.AFTER, gettext_lazy("After it")),
)


def _written(of: RoundLot, occasion: str) -> list[str]:
    """The readings of each piece as they were written."""
    pieces: dict[int, list[LotPull]] = {}
    for pull in of.pulls.filter(occasion=occasion).order_by("piece", "number"):
        pieces.setdefault(pull.piece, []).append(pull)
    return [_line(pulls) for pulls in pieces.values()]


def _line(pulls: Iterable[LotPull]) -> str:
    pulled = list(pulls)
    return " ".join([*(pull.reading_written for pull in pulled), pulled[0].unit])
