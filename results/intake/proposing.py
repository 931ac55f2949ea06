"""Proposing what the catalogue lacks, and keeping the session that names it until it is decided."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext, override

from results.intake.amend import check_amendable
from results.intake.checking import check
from results.intake.findings import LacksEntries, Missing
from results.intake.reading import form_of, read
from results.intake.receiving import receive
from results.models import Proposal, Session, WaitingSession
from rigs.locks import lock_uploader
from rigs.models import Contributor
from rigs.refusals import Conflict, Refused

MOST_WAITING = 20
"""Sessions of one contributor that wait at a time."""
LONGEST_NOTE = 1000
FINDINGS_KEPT = 20
STORED_IN = "en"


def propose_and_wait(
    contributor: Contributor,
    file_name: str,
    body: bytes,
    content_type: str,
    notes: Mapping[str, str] | None = None,
    *,
    replaces: Session | None = None,
    reason: str = "",
) -> WaitingSession:
    """Propose all that the catalogue lacks of an upload, and keep it until that is decided on.

    ``notes`` is what the proposer says of some, by name. With ``replaces`` it is to take the place
    of that session, for this reason, which counts until then. The same bytes are kept once. One
    transaction; locks the contributor. Raises as the check of an upload does where more is wrong
    with it, as amending does, and Conflict where nothing is lacking or too many sessions wait
    already.
    """
    if replaces is not None:
        check_amendable(replaces, contributor, reason)
    missing = _missing(contributor, body, content_type)
    with transaction.atomic():
        owner = lock_uploader(contributor)
        waiting = owner.waiting_sessions.filter(state=WaitingSession.State.WAITING)
        for earlier in waiting.filter(content_type=form_of(content_type), replaces=replaces):
            if bytes(earlier.body) == body:
                return earlier
        if waiting.count() >= MOST_WAITING:
            raise Conflict(
                gettext("%(most)s of your sessions wait for the catalogue already.")
                % {"most": MOST_WAITING}
            )
        kept = WaitingSession.objects.create(
            contributor=owner,
            file_name=file_name[-120:],
            content_type=form_of(content_type),
            body=body,
            replaces=replaces,
            reason=reason.strip(),
        )
        kept.proposals.set(_proposal(owner, each, notes or {}) for each in missing)
    return kept


def _missing(contributor: Contributor, body: bytes, content_type: str) -> tuple[Missing, ...]:
    try:
        check(contributor, read(body, content_type))
    except LacksEntries as refusal:
        return refusal.missing
    raise Conflict(gettext("The catalogue has all that this session names: send it as usual."))


def _proposal(owner: Contributor, missing: Missing, notes: Mapping[str, str]) -> Proposal:
    """One's open proposal of this, or a new one; what is said of it is added to what was."""
    what: dict[str, Any] = {
        "contributor": owner,
        "kind": missing.kind,
        "name": missing.name,
        "connection_id": missing.connection,
        "state": Proposal.State.OPEN,
    }
    note = notes.get(missing.name, "").strip()[:LONGEST_NOTE]
    proposal, new = Proposal.objects.get_or_create(**what, defaults={"note": note})
    if not new and note and note not in proposal.note:
        proposal.note = "\n\n".join(filter(None, (proposal.note, note)))
        proposal.save(update_fields=["note"])
    return proposal


def resume(waiting: WaitingSession) -> None:
    """Store a session that has waited, or keep why it can't be stored.

    In the transaction of a caller who has locked its contributor.
    """
    try:
        with override(STORED_IN):
            receipt = receive(
                waiting.contributor,
                bytes(waiting.body),
                waiting.content_type,
                str(waiting.key),
                replaces=waiting.replaces,
                reason=waiting.reason,
            )
    except Refused as refusal:
        waiting.state = WaitingSession.State.STOPPED
        waiting.problem = "\n".join([refusal.detail, *map(str, refusal.findings[:FINDINGS_KEPT])])
    else:
        waiting.state, waiting.session = WaitingSession.State.STORED, receipt.session
    waiting.save(update_fields=["state", "problem", "session"])
