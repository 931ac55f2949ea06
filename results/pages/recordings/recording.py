"""A recording of a load cell: shown as a picture, named pull by pull, and stored as a session."""

from __future__ import annotations

import json
import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from results import intake
from results.intake.limits import MOST_BYTES
from results.intake.recordings import Recording, read_recording
from results.intake.trace_doubts import is_deep
from results.models import Upload, WaitingUpload
from results.pages.offered import catalogue_offered
from results.pages.recordings.answers import AnswersForm, asked
from results.pages.recordings.forms import MOST_ROWS, ROWS, Named, Seen, named
from results.pages.recordings.pictures import parts_of
from results.pages.recordings.session_document import Composed, compose
from results.pages.recordings.shown import shown
from results.pages.sent_files import read_sent
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from rigs import selectors as rig_selectors
from rigs.metrology.traces.cutting import Part
from rigs.models import Contributor, Rig
from rigs.refusals import Finding, Invalid, Refused

RECORDING = "; recording"
"""After the form of a waiting file: it is no session to be stored as it is."""
FORM_OF_ENDING = {
    "csv": intake.CSV, "tsv": intake.CSV, "txt": intake.CSV, "log": intake.CSV,
    "json": intake.JSON, "xlsx": intake.XLSX,
}  # fmt: skip


FINDINGS_SHOWN = 50


@dataclass(frozen=True)
class Outcome:
    """What became of a form that was sent: a preview of the session, or why it can't be one."""

    preview: intake.Preview | None = None
    refusal: Refused | None = None
    findings: Sequence[Finding] = ()
    may_propose: bool = False


@require_http_methods(["GET", "HEAD", "POST"])
@contributors_only
@never_cache
def send(request: HttpRequest) -> HttpResponse:
    """Choose a recording; a post keeps it for the page on which its pulls are named."""
    if request.method != "POST":
        return _send_page(request)
    try:
        sent = request.FILES.get("file")
        body, form = read_sent(sent, FORM_OF_ENDING, ".csv, .txt, .xlsx, .json")
        name = str(sent.name) if sent is not None else ""
        kept = intake.let_wait(contributor_behind(request), name, body, form + RECORDING)
    except Refused as refusal:
        return _send_page(request, status=422, refusal=refusal)
    return redirect("pages:recording", kept.key)


@require_http_methods(["GET", "HEAD", "POST"])
@contributors_only
@never_cache
def recording(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """The picture of the recording and the form that names its pulls; a post checks or stores."""
    contributor = contributor_behind(request)
    waiting = WaitingUpload.objects.filter(contributor=contributor, key=key).first()
    if waiting is None or not waiting.content_type.endswith(RECORDING):
        return _gone(request, contributor, key)
    answers = AnswersForm(request.GET or None)
    form = waiting.content_type.removesuffix(RECORDING)
    try:
        found = read_recording(bytes(waiting.body), form, answers.given())
    except Refused as refusal:
        findings = [asked(each) for each in refusal.findings]
        context = {
            "waiting": waiting, "answers": answers, "refusal": refusal, "findings": findings,
        }  # fmt: skip
        return render(request, "pages/recordings/ask.html", context, status=422)
    forms, rigs = _forms(request, contributor, found)
    outcome = Outcome()
    if request.method == "POST" and "more" not in request.POST:
        outcome, leave = _sent(request, contributor, waiting, found, forms, rigs)
        if leave is not None:
            return leave
    return _page(request, waiting, found, forms, answers, outcome)


def _forms(
    request: HttpRequest, contributor: Contributor, found: Recording
) -> tuple[Named, list[Rig]]:
    """The forms as sent, or empty; with more rows where they were asked for."""
    rigs = list(rig_selectors.rigs().filter(owner=contributor))
    sent = request.POST if request.method == "POST" else None
    written = request.POST.get("rows", "")
    rows = int(written) if written.isascii() and written.isdigit() and len(written) < 3 else ROWS
    rows = min(max(rows + ROWS * ("more" in request.POST), ROWS), MOST_ROWS)
    return named(sent, rigs, [_seen(found, part) for part in parts_of(found.cut)], rows), rigs


def _seen(found: Recording, part: Part) -> Seen:
    figures = dict(zip(found.cut.pulls, found.figures, strict=True)).get(part)
    slips = figures.slips if figures is not None else ()
    peak_N = float(found.force_N[part.peak])
    return Seen(
        is_low=part in found.cut.left_out,
        slipped=any(is_deep(slip.from_N - slip.to_N, peak_N) for slip in slips),
    )


def _sent(
    request: HttpRequest,
    contributor: Contributor,
    waiting: WaitingUpload,
    found: Recording,
    forms: Named,
    rigs: Sequence[Rig],
) -> tuple[Outcome, HttpResponse | None]:
    """What became of a form that was sent, and where to go if it was stored or waits."""
    if not forms.is_valid():
        return Outcome(refusal=Invalid(_("Some pulls are not named yet: see the form."))), None
    rig = next(each for each in rigs if str(each.pk) == forms.session.cleaned_data["rig"])
    traces = [found.trace_of(part) for part in parts_of(found.cut)]
    composed = compose(forms, rig, found.unit, traces)
    body = json.dumps(composed.document).encode()
    try:
        if "propose" in request.POST:
            kept = intake.propose_and_wait(contributor, waiting.file_name, body, intake.JSON)
            waiting.delete()
            return Outcome(), redirect("pages:waiting-session", kept.pk)
        if "store" in request.POST:
            receipt = intake.receive(contributor, body, intake.JSON, str(waiting.key))
            waiting.delete()
            return Outcome(), redirect("pages:job", receipt.job.pk)
        preview = intake.dry_run(contributor, body, intake.JSON)
    except Refused as refusal:
        return _refused(composed, refusal), None
    # That each reading is the peak of its trace is what the page is for: nothing unusual.
    unusual = [each for each in preview.warnings if (each.row, each.field) != ("", "reading")]
    findings = [composed.placed(each) for each in unusual]
    return Outcome(preview=preview, findings=findings[:FINDINGS_SHOWN]), None


def _refused(composed: Composed, refusal: Refused) -> Outcome:
    findings = [composed.placed(each) for each in refusal.findings[:FINDINGS_SHOWN]]
    may_propose = isinstance(refusal, intake.LacksEntries)
    return Outcome(refusal=refusal, findings=findings, may_propose=may_propose)


def _gone(request: HttpRequest, contributor: Contributor, key: uuid.UUID) -> HttpResponse:
    """Where a recording was stored already the job of its session, as a repeated request gets."""
    earlier = Upload.objects.filter(contributor=contributor, idempotency_key=str(key)).first()
    if earlier is not None:
        return redirect("pages:job", earlier.session.jobs.earliest("created_at").pk)
    messages.error(request, _("Another file was checked since: send the recording again."))
    return redirect("pages:recordings")


def _page(
    request: HttpRequest,
    waiting: WaitingUpload,
    found: Recording,
    forms: Named,
    answers: AnswersForm,
    outcome: Outcome,
) -> HttpResponse:
    context = {
        "waiting": waiting,
        "recording": shown(found, forms),
        "forms": forms,
        "answers": answers,
        "outcome": outcome,
        "may_have_more": len(forms.joins) < MOST_ROWS,
        **catalogue_offered(request.user),
    }
    status = 422 if outcome.refusal else 200
    return render(request, "pages/recordings/name.html", context, status=status)


def _send_page(
    request: HttpRequest, *, status: int = 200, refusal: Refused | None = None
) -> HttpResponse:
    findings = refusal.findings if refusal else ()
    context = {"refusal": refusal, "findings": findings, "most_bytes": MOST_BYTES}
    return render(request, "pages/recordings/send.html", context, status=status)
