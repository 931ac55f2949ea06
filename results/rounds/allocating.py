"""Which participant gets which sample under which code, and who knows it."""

from __future__ import annotations

from dataclasses import dataclass
from secrets import SystemRandom

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext

from results.models import (
    Round,
    RoundEvent,
    RoundParticipant,
    RoundSample,
    RoundSight,
    RoundSpecimen,
)
from results.notices import notify_of_round
from results.rounds.codes import new_code
from results.rounds.set_up import as_written, lock_round, lock_round_of, require
from rigs.locks import lock_contributor
from rigs.models import Contributor
from rigs.refusals import Conflict, Forbidden

What = RoundEvent.What
LEAST_PARTICIPANTS = 2
TRIES = 5


@dataclass(frozen=True)
class Packed:
    """One line of the packing list: what goes to which participant under which code."""

    participant: RoundParticipant
    code: str
    sample: RoundSample
    copy: int


def open_round(by: Contributor, of: Round) -> Round:
    """Draw the codes of everyone who has entered, and take results from now on.

    Samples can't be changed any more, and everyone in it has a notice. One transaction. Locks the
    contributor, then the round. Raises Forbidden for somebody else's round, Conflict where it is
    not being set up or fewer than two testers have entered, and AccountClosed.
    """
    with transaction.atomic():
        now = lock_round_of(lock_contributor(by), of)
        require(now, Round.State.SETTING_UP)
        entered = list(now.participants.filter(withdrawn_at=None))
        if len(entered) < LEAST_PARTICIPANTS:
            raise Conflict(gettext("A round is opened once two testers have entered it."))
        now.state, now.opened_at = Round.State.OPEN, timezone.now()
        now.save(update_fields=["state", "opened_at"])
        for participant in entered:
            allocate(participant)
        RoundEvent.objects.create(round=now, what=What.OPENED, results_by=now.results_by)
        _announce_opening(now)
    return now


def _announce_opening(now: Round) -> None:
    """A notice to everyone who has something to do, in English as all notices are stored."""
    by = as_written(now.results_by)
    for one in now.participants.filter(withdrawn_at=None).select_related("contributor__user"):
        text = f"The round is open: your codes are drawn, and results are in time until {by}."
        notify_of_round(one.contributor, now, text)
    tasks = {
        now.packer_id: (now.packer, "pack and label the samples"),
        now.central_tyer_id: (now.tyer or now.organiser, "tie what is tied for everybody"),
    }
    for pk, (who, what) in tasks.items():
        if pk != now.organiser_id:
            notify_of_round(who, now, f"The round is open: now you can {what}.")


def packing_list(by: Contributor, of: Round) -> list[Packed]:
    """What to pack for each participant. Who asks is kept as one who has seen it, and not blind.

    The organiser takes the place of a packer whose account is closed. One transaction. Locks the
    contributor, then the round. Raises Forbidden for anyone else, Conflict before the round is
    open, and AccountClosed.
    """
    with transaction.atomic():
        packer = lock_contributor(by)
        now = lock_round(of)
        gone = now.packer.closed_at is not None
        if packer.pk != (now.organiser_id if gone else now.packer_id):
            raise Forbidden(gettext("Only who packs this round's samples sees which is which."))
        if now.state == Round.State.SETTING_UP:
            raise Conflict(gettext("Codes are drawn once the round is opened."))
        RoundSight.objects.get_or_create(round=now, contributor=packer)
    allocated = RoundSpecimen.objects.filter(
        participant__round=now, participant__withdrawn_at=None
    ).select_related(
        "participant__contributor",
        "sample__connection",
        "sample__main_lot__line",
        "sample__leader_lot__line",
    )
    return [
        Packed(one.participant, one.code, one.sample, one.copy)
        for one in allocated.order_by("participant_id", "sample__number", "copy")
    ]


def allocate(participant: RoundParticipant) -> None:
    """Draw the codes that a participant lacks, in the transaction of who has locked the round."""
    has = set(participant.specimens.values_list("sample_id", "copy"))
    lacking = [
        (sample, copy)
        for sample in participant.round.samples.all()
        for copy in range(1, sample.codes + 1)
        if (sample.pk, copy) not in has
    ]
    # Rows are numbered as they are made: in order their numbers would tell which is which.
    SystemRandom().shuffle(lacking)
    for sample, copy in lacking:
        _draw(participant, sample, copy)


def _draw(participant: RoundParticipant, sample: RoundSample, copy: int) -> None:
    for _ in range(TRIES):
        try:
            with transaction.atomic():
                RoundSpecimen.objects.create(
                    participant=participant, sample=sample, copy=copy, code=new_code()
                )
        except IntegrityError:
            continue
        return
    raise Conflict(gettext("No code could be drawn: try again."))
