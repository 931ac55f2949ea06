"""Receiving results of an open round: checked whole, and kept sealed until the close."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

import msgspec
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext

from results.intake.checking import Checked, check
from results.intake.document import CodedSetDocument
from results.intake.parts import JoinedPart
from results.intake.places import in_order, on_sheet
from results.intake.previewing import Preview, SetPreview, as_read
from results.intake.reading import Coded, coded, form_of
from results.intake.receiving import LONGEST_KEY
from results.models import (
    Round,
    RoundParticipant,
    RoundSpecimen,
    SealedSession,
)
from results.rounds.codes import readable
from results.rounds.filling import Filled, fill
from results.rounds.set_up import lock_round, require
from rigs.locks import lock_contributor, lock_uploader, refuse_uploads_of
from rigs.models import Contributor
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

OPEN_TO_ALL = frozenset(each.name for each in msgspec.structs.fields(CodedSetDocument))
"""Members of a set that say nothing of what its sample is."""


@dataclass(frozen=True)
class Sealed:
    """What became of a session of a round; ``created`` is False where it had come before."""

    row: SealedSession
    created: bool
    warnings: tuple[Finding, ...] = ()


def receive(by: Contributor, body: bytes, content_type: str, key: str | None) -> Sealed:
    """Keep a session of an open round as it was sent; nothing is made of it before the close.

    It is checked as every upload is, with what the codes stand for filled in; findings and
    warnings that would give that away are left out. One transaction then locks the contributor
    and the round. Raises Unreadable, Invalid, Forbidden, AccountClosed, AccountSuspended, and
    Conflict where the round is not open or results of a code have come already.
    """
    refuse_uploads_of(by)
    sha256 = hashlib.sha256(body).hexdigest()
    _check_key(key)
    earlier = _earlier(by, key, sha256)
    if earlier is not None:
        return Sealed(earlier, created=False)
    form = form_of(content_type)
    said = coded(body, form)
    filled = fill(by, said)
    require(filled.round, Round.State.OPEN)
    warnings = _checked(by, said, filled).warnings
    with transaction.atomic():
        contributor = lock_uploader(by)
        now = lock_round(filled.round)
        earlier = _earlier(by, key, sha256)
        if earlier is not None:
            return Sealed(earlier, created=False)
        require(now, Round.State.OPEN)
        participant = RoundParticipant.objects.filter(
            round=now, contributor=contributor, withdrawn_at=None
        ).first()
        if participant is None:
            raise Conflict(gettext("You don't take part in this round any more."))
        row = SealedSession.objects.create(
            participant=participant,
            idempotency_key=key,
            content_type=form,
            body=body,
            sha256=sha256,
            late=now.is_late(timezone.now()),
        )
        _take_codes(filled.specimens, row)
    return Sealed(row, created=True, warnings=warnings)


def sealed_under(by: Contributor, key: str) -> SealedSession | None:
    """The session that was sealed under this Idempotency-Key, as of who presses a button twice."""
    return SealedSession.objects.filter(participant__contributor=by, idempotency_key=key).first()


def dry_run(by: Contributor, body: bytes, content_type: str) -> Preview:
    """Check a session of a round whole, and say what would be sealed: no figure before the close.

    Reads only; raises as `receive` does.
    """
    refuse_uploads_of(by)
    said = coded(body, content_type)
    filled = fill(by, said)
    require(filled.round, Round.State.OPEN)
    checked = _checked(by, said, filled)
    parts = [*checked.straight, *checked.joined]
    return Preview(
        rig=checked.revision.rig.name,
        revision=checked.revision.number,
        baselines=len(checked.straight),
        pull_sets=len(checked.joined),
        pulls=sum(len(part.pulls) for part in parts),
        sets=tuple(map(_sealed_set, checked.joined, filled.specimens)),
        warnings=checked.warnings,
        asked=checked.asked,
        sealed_until_the_close_of=filled.round.pk,
        late=filled.round.is_late(timezone.now()),
        read_as=as_read(checked, hides_lines=True),
    )


def _sealed_set(part: JoinedPart, specimen: RoundSpecimen) -> SetPreview:
    hidden = specimen.sample.is_hidden
    return SetPreview(
        label=readable(specimen.code),
        connection=gettext("comes tied") if hidden else specimen.sample.connection.name,
        lines="",
        pulls=len(part.pulls),
        failure_modes=Counter(pull.failure_mode for pull in part.pulls),
        why_not=gettext("it is kept sealed until the close of the round"),
    )


def take_back(by: Contributor, sealed: SealedSession) -> None:
    """Withdraw a sealed session, so that its codes can be sent again.

    One transaction. Locks the contributor, then the round. Raises Forbidden for somebody else's,
    Conflict once the round is closed or it is no longer sealed, and AccountClosed.
    """
    if sealed.participant.contributor_id != by.pk:
        raise Forbidden(gettext("Only who sent a session takes it back."))
    with transaction.atomic():
        lock_contributor(by)
        require(lock_round(sealed.participant.round), Round.State.OPEN)
        is_sealed = SealedSession.objects.filter(pk=sealed.pk, state=SealedSession.State.SEALED)
        if not is_sealed.update(state=SealedSession.State.WITHDRAWN):
            raise Conflict(gettext("This session was taken back before."))
        RoundSpecimen.objects.filter(sent_in=sealed).update(sent_in=None)


def _check_key(key: str | None) -> None:
    if key is None:
        return
    if not key.strip() or len(key) > LONGEST_KEY or not (key.isascii() and key.isprintable()):
        expected = gettext("1 to %(longest)s printable ASCII characters") % {"longest": LONGEST_KEY}
        raise Invalid(
            gettext("The Idempotency-Key can't be used."),
            [Finding("header", "Idempotency-Key", gettext("another text"), expected)],
        )


def _earlier(by: Contributor, key: str | None, sha256: str) -> SealedSession | None:
    """What came under this key. Raises Invalid where that was something else."""
    if key is None:
        return None
    found = sealed_under(by, key)
    if found is not None and found.sha256 != sha256:
        raise Invalid(
            gettext("The Idempotency-Key was used for another upload."),
            [
                Finding(
                    "header", "Idempotency-Key", gettext("a key used before"), gettext("a new key")
                )
            ],
        )
    return found


def _take_codes(specimens: Iterable[RoundSpecimen], row: SealedSession) -> None:
    wanted = [one.pk for one in specimens]
    if RoundSpecimen.objects.filter(pk__in=wanted, sent_in=None).update(sent_in=row) != len(wanted):
        raise Conflict(
            gettext(
                "Results of one of these codes have come already: take that session back first."
            )
        )


def _checked(by: Contributor, said: Coded, filled: Filled) -> Checked:
    """The check of uploads, with the warnings that everyone may read.

    Raises Invalid without what would give away a hidden sample.
    """
    hidden = {
        f"pull_sets[{number}]"
        for number, one in enumerate(filled.specimens)
        if one.sample.is_hidden
    }
    try:
        checked = check(by, said.read(filled.value))
    except Invalid as refusal:
        shown_to_them = tuple(each for each in refusal.findings if _says_nothing(each, hidden))
        if len(shown_to_them) < len(refusal.findings):
            shown_to_them += (
                Finding(
                    "",
                    "pull_sets",
                    gettext("a set that can't be computed"),
                    gettext("enough pulls of every code, and of straight line of every lot"),
                ),
            )
        placed = in_order(on_sheet(each, said.rows) for each in shown_to_them)
        raise Invalid(
            gettext("Something is to be corrected. Nothing was stored."), placed
        ) from None
    return replace(
        checked,
        warnings=_shown(checked.warnings, said),
        asked=_shown(checked.asked, said),
    )


def _shown(warnings: Iterable[Finding], said: Coded) -> tuple[Finding, ...]:
    """A warning about one set may compare it with another: only those about single pulls stay."""
    return tuple(
        on_sheet(each, said.rows)
        for each in warnings
        if not each.row.startswith("pull_sets[") or ".pulls[" in each.row
    )


def _says_nothing(finding: Finding, hidden: Iterable[str]) -> bool:
    """Whether a finding gives away nothing of a hidden sample."""
    of_hidden = any(finding.row.startswith(place) for place in hidden)
    return not of_hidden or ".pulls[" in finding.row or finding.field in OPEN_TO_ALL
