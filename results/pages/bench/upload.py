"""Uploading on a page: a file is checked, shown with its rows marked, then stored."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from results import intake
from results.intake.limits import MOST_BYTES
from results.models import Session, WaitingSession, WaitingUpload
from results.pages.sent_files import read_sent
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only, own_or_moderated
from results.rounds import receiving as of_rounds
from rigs.models import Contributor
from rigs.refusals import Conflict, Finding, Invalid, Refused

FORM_OF_ENDING = {
    "csv": intake.CSV, "tsv": intake.CSV, "txt": intake.CSV, "json": intake.JSON,
    "xlsx": intake.XLSX, "xls": intake.XLSX, "ods": intake.XLSX,
}  # fmt: skip
"""Workbooks of other kinds are refused with what to do about them."""
FINDINGS_SHOWN = 150
ASKED_SHOWN = 10
LONGEST_NUMBER = 18


@dataclass(frozen=True)
class Report:
    """The outcome of a check: a preview if the file can be stored, or why it can't."""

    file_name: str
    sheet: intake.MarkedSheet | None = None
    preview: intake.Preview | None = None
    refusal: Refused | None = None

    @property
    def is_recording(self) -> bool:
        """Whether the file belongs on the page for recordings."""
        return isinstance(self.refusal, intake.IsRecording)

    @property
    def asked(self) -> tuple[Finding, ...]:
        """What its tester has to look at before it is stored."""
        return self.preview.asked[:ASKED_SHOWN] if self.preview else ()

    @property
    def said(self) -> tuple[Finding, ...]:
        """Mistakes, or of a file without any the warnings that aren't asked about."""
        if self.refusal is not None:
            return self.refusal.findings[:FINDINGS_SHOWN]
        warnings = self.preview.warnings if self.preview else ()
        return tuple(each for each in warnings if each not in self.asked)[:FINDINGS_SHOWN]


@require_http_methods(["GET", "HEAD", "POST"])
@contributors_only
@never_cache
def upload(request: HttpRequest) -> HttpResponse:
    """Choose a file; a post checks it and stores nothing yet."""
    contributor = contributor_behind(request)
    corrected = own_session(contributor, (request.POST or request.GET).get("replaces", ""))
    if request.method != "POST":
        return _page(request, contributor, corrected=corrected)
    return _checked(request, contributor, request.FILES.get("file"), corrected)


def _checked(
    request: HttpRequest,
    contributor: Contributor,
    sent: UploadedFile[bytes] | None,
    corrected: Session | None,
) -> HttpResponse:
    name = str(sent.name) if sent is not None else ""
    body, form = b"", intake.CSV
    try:
        body, form = read_sent(sent, FORM_OF_ENDING, ".csv, .xlsx, .json")
        preview = _preview(contributor, body, form, corrected)
    except Refused as refusal:
        sheet = intake.marked(body, form, refusal.findings) if body else None
        report = Report(name, sheet, refusal=refusal)
        offered = {}
        if isinstance(refusal, intake.LacksEntries):
            kept = intake.let_wait(contributor, name, body, form)
            offered = {"missing": refusal.missing, "propose_key": kept.key}
        return _page(
            request, contributor, status=422, report=report, corrected=corrected, **offered
        )
    waiting = intake.let_wait(contributor, name, body, form)
    report = Report(name, intake.marked(body, form, (), preview.warnings), preview)
    return _page(request, contributor, report=report, key=waiting.key, corrected=corrected)


def _preview(
    contributor: Contributor, body: bytes, form: str, corrected: Session | None
) -> intake.Preview:
    """What would be stored, or of a session of a round sealed, which takes no other's place."""
    try:
        preview = intake.dry_run(contributor, body, form)
    except intake.GoesByCodes:
        if corrected is not None:
            raise
        return of_rounds.dry_run(contributor, body, form)
    if corrected is None and preview.stored_as is not None:
        raise intake.stored_already(preview.stored_as)
    return preview


@require_POST
@contributors_only
def store(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Store the file that was checked, on its own or in place of a session of one's own."""
    contributor = contributor_behind(request)
    corrected = own_session(contributor, request.POST.get("replaces", ""))
    reason = request.POST.get("reason", "")
    try:
        receipt = intake.store_waiting(contributor, key, replaces=corrected, reason=reason)
    except Refused as refusal:
        by_codes = isinstance(refusal, intake.GoesByCodes) and corrected is None
        if by_codes or of_rounds.sealed_under(contributor, str(key)) is not None:
            return _sealed(request, contributor, key)
        report = Report("", refusal=refusal)
        # The file still waits, so what was wrong with the form alone can be put right at once.
        again = {"key": key} if corrected is not None and isinstance(refusal, Invalid) else {}
        return _page(request, contributor, status=409, report=report, corrected=corrected, **again)
    return redirect("pages:job", receipt.job.pk)


def _sealed(request: HttpRequest, contributor: Contributor, key: uuid.UUID) -> HttpResponse:
    """Seal the file that was checked, in the round whose codes it has; pressed again, the same."""
    sealed = of_rounds.sealed_under(contributor, str(key))
    if sealed is None:
        waiting = get_object_or_404(WaitingUpload, contributor=contributor, key=key)
        try:
            sealed = of_rounds.receive(
                contributor, bytes(waiting.body), waiting.content_type, str(key)
            ).row
        except Refused as refusal:
            return _page(request, contributor, status=409, report=Report("", refusal=refusal))
        waiting.delete()
    messages.success(request, _("Your results are in, and sealed until the close of the round."))
    return redirect("pages:round", sealed.participant.round_id)


@require_POST
@contributors_only
def propose(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Propose what the catalogue lacks of the file that was checked, which waits for it."""
    contributor = contributor_behind(request)
    corrected = own_session(contributor, request.POST.get("replaces", ""))
    checked = WaitingUpload.objects.filter(contributor=contributor, key=key).first()
    if checked is None:
        report = Report("", refusal=Conflict(_("Another file was checked since: check it again.")))
        return _page(request, contributor, status=409, report=report, corrected=corrected)
    names, notes = request.POST.getlist("name"), request.POST.getlist("note")
    try:
        waiting = intake.propose_and_wait(
            contributor,
            checked.file_name,
            bytes(checked.body),
            checked.content_type,
            dict(zip(names, notes, strict=False)),
            replaces=corrected,
            reason=request.POST.get("reason", ""),
        )
    except Refused as refusal:
        report = Report(checked.file_name, refusal=refusal)
        return _page(request, contributor, status=409, report=report, corrected=corrected)
    checked.delete()
    return redirect("pages:waiting-session", waiting.pk)


@require_safe
@contributors_only
@never_cache
def waiting_session(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """A session that waits for the catalogue: what for, and what became of it.

    For its contributor, and for moderators to read.
    """
    waiting = WaitingSession.objects.select_related("session", "replaces", "contributor")
    found = get_object_or_404(own_or_moderated(request, waiting), pk=key)
    proposals = found.proposals.select_related(
        "connection", "became_connection", "became_line", "became_parameter"
    )
    context = {
        "waiting": found,
        "proposals": proposals.order_by("pk"),
        "own": found.contributor_id == contributor_behind(request).pk,
    }
    return render(request, "pages/bench/waiting.html", context)


@require_POST
@contributors_only
def take_back(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Delete a session of one's own that waits; its proposals stay with the moderators."""
    own = WaitingSession.objects.filter(contributor=contributor_behind(request))
    get_object_or_404(own.exclude(state=WaitingSession.State.STORED), pk=key).delete()
    messages.success(request, _("Deleted. Nothing of it was stored as a session."))
    return redirect("pages:bench")


def own_session(contributor: Contributor, written: str) -> Session | None:
    """The current session of one's own of this number; None where none is named.

    Raises Http404 where it is another's, replaced or withdrawn.
    """
    if not written:
        return None
    if not (written.isascii() and written.isdigit() and len(written) <= LONGEST_NUMBER):
        raise Http404
    current = contributor.sessions.filter(standing=Session.Standing.CURRENT)
    return get_object_or_404(current.select_related("revision__rig"), pk=int(written))


def _page(
    request: HttpRequest, contributor: Contributor, *, status: int = 200, **context: Any
) -> HttpResponse:
    context |= {"contributor": contributor, "most_bytes": MOST_BYTES}
    return render(request, "pages/bench/upload.html", context, status=status)
