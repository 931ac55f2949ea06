"""One round: what it is, who has sent, one's own codes, and what is printed for it."""

from __future__ import annotations

import base64
from dataclasses import dataclass

import qrcode
import qrcode.image.svg
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from results.intake.blind_codes import understood
from results.models import Round, RoundParticipant
from results.pages.figures import day
from results.pages.rigs.bench_sheet import MEANINGS
from results.pages.rounds.words import ShownSample, remarks_in_words, shown_sample
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.pages.vocabulary import WORDS
from results.rounds import selectors
from results.rounds.allocating import LEAST_PARTICIPANTS, packing_list
from results.rounds.codes import readable
from rigs import permissions
from rigs.models import Contributor

STRAIGHT_ROWS = 5


@dataclass(frozen=True)
class ShownCode:
    """A code of one's own, what it is of where one may know that, and rows for its pulls."""

    code: str
    sample: ShownSample | None
    rows: range
    became: str


@dataclass(frozen=True)
class Label:
    """A label to print: who gets it, its code, a picture of that, and what is packed under it."""

    handle: str
    code: str
    picture: str
    sample: ShownSample


@require_safe
@never_cache
def one_round(request: HttpRequest, pk: int) -> HttpResponse:
    """A round as its organiser, its packer, a participant or anyone else may see it."""
    found = get_object_or_404(selectors.rounds(), pk=pk)
    contributor = permissions.contributor_behind(request.user)
    insider = selectors.is_insider(found, contributor)
    own = selectors.participant_of(found, contributor)
    organises = contributor is not None and contributor.pk == found.organiser_id
    packer = found.organiser if found.packer.closed_at else found.packer
    context = {
        "round": found,
        "title": found.title if insider else None,
        "insider": insider,
        "organises": organises,
        "packs": contributor == packer,
        "packer": packer.handle if insider else "",
        "tyer": (found.tyer or found.organiser).handle if insider else "",
        "entry_code": readable(found.entry_code) if organises else "",
        "entry_address": request.build_absolute_uri(
            f"{reverse('pages:rounds')}?code={found.entry_code}"
        )
        if organises
        else "",
        "lots": [f"{lot.line.name}, {lot.spool}" for lot in selectors.lots_of(found)]
        if insider
        else (),
        "samples": [
            shown_sample(sample, spools=insider)
            for sample in selectors.samples_of(found, contributor)
        ],
        "to_tie": [
            (shown_sample(one.sample, spools=True), one.joins)
            for one in selectors.to_tie(found, contributor)
        ],
        "own": own,
        "codes": shown_codes(own) if own else (),
        "sealed": [
            (one, [readable(each.code) for each in one.specimens.all()])
            for one in selectors.sealed_of(own)
        ]
        if own
        else (),
        "senders": [
            (one.participant.contributor.handle, one, remarks_in_words(vars(one)))
            for one in selectors.senders(found)
        ]
        if organises
        else (),
        "left": [
            (
                one.contributor.handle,
                _("withdrew %(day)s; codes had been drawn") % {"day": day(one.withdrawn_at)}
                if one.specimens.all()
                else _("withdrew %(day)s") % {"day": day(one.withdrawn_at)},
            )
            for one in selectors.who_left(found)
        ]
        if organises
        else (),
        "report": selectors.latest_report(found),
        "can_open": found.participants.filter(withdrawn_at=None).count() >= LEAST_PARTICIPANTS,
        "is_over": found.state != Round.State.CLOSED and found.is_late(timezone.now()),
    }
    return render(request, "pages/rounds/one.html", context)


@require_safe
@contributors_only
def by_code(request: HttpRequest, code: str) -> HttpResponseBase:
    """Where a label leads: to the page at the rig with this code, or to the round where its results
    are in or none are taken. Others' codes lead nowhere."""
    specimen = selectors.specimen_of(understood(code))
    if specimen is None or specimen.participant.contributor != contributor_behind(request):
        raise Http404
    if specimen.sent_in_id is None and specimen.participant.round.state == Round.State.OPEN:
        return redirect(f"{reverse('pages:at-the-rig')}?sample={readable(specimen.code)}")
    address = reverse("pages:round", args=[specimen.participant.round_id])
    return redirect(f"{address}#{specimen.code}")


@require_safe
@contributors_only
@never_cache
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The bench sheet of a participant: their codes, with room for every pull."""
    found = get_object_or_404(selectors.rounds(), pk=pk)
    contributor = contributor_behind(request)
    own = selectors.participant_of(found, contributor)
    if own is None or found.state == Round.State.SETTING_UP:
        raise Http404
    context = {
        "title": found.title,
        "round": found,
        "handle": contributor.handle,
        "codes": shown_codes(own),
        "lots": [f"{lot.line.name}, {lot.spool}" for lot in selectors.lots_of(found)],
        "straight_rows": range(1, STRAIGHT_ROWS + 1),
        "modes": MEANINGS.items(),
    }
    return render(request, "pages/rounds/sheet.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@contributors_only
@never_cache
def labels(request: HttpRequest, pk: int) -> HttpResponse:
    """Labels and packing list, for who packs; that they have seen it is kept.

    Opened by its address alone it shows nothing, and leads to the round.
    """
    found = get_object_or_404(selectors.rounds(), pk=pk)
    if request.method != "POST":
        messages.info(
            request, _("Labels and packing list are shown to the packer, by the button here.")
        )
        return redirect("pages:round", found.pk)
    packer: Contributor = contributor_behind(request)
    packed = [
        Label(
            one.participant.contributor.handle,
            readable(one.code),
            picture_of(request.build_absolute_uri(reverse("pages:round-code", args=[one.code]))),
            shown_sample(one.sample, spools=True),
        )
        for one in packing_list(packer, found)
    ]
    context = {"title": found.title, "round": found, "labels": packed}
    return render(request, "pages/rounds/labels.html", context)


def shown_codes(own: RoundParticipant) -> list[ShownCode]:
    return [
        ShownCode(
            readable(one.code),
            shown_sample(one.sample, spools=True) if one.sample else None,
            range(1, one.ties + 1),
            str(WORDS[one.became.value]),
        )
        for one in selectors.own_codes(own)
    ]


def picture_of(address: str) -> str:
    """The address as a code that phones read (ISO/IEC 18004), as a picture inside the page."""
    drawn = qrcode.make(
        address, image_factory=qrcode.image.svg.SvgPathImage, border=4, box_size=10
    ).to_string()
    return "data:image/svg+xml;base64," + base64.b64encode(drawn).decode()
