"""Setting up a round: its lots and samples, until it is opened."""

from __future__ import annotations

from datetime import date

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext

from results.intake.findings import Findings
from results.intake.ties import parameters_of
from results.models import Round, RoundEvent, RoundLot, RoundSample, SealedSession
from results.notices import notify_of_round
from results.rounds.codes import new_code
from results.rounds.drafts import RoundDraft, SampleDraft, findings_of, too_far_off
from rigs.locks import lock_uploader
from rigs.models import Club, Contributor
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

MOST_UNDER_WAY = 20
"""Rounds of one organiser that are not closed."""
TRIES = 5
FAR = 1000


def set_up(by: Contributor, draft: RoundDraft) -> Round:
    """Store a new round of one's own club, which no one has entered yet.

    One transaction. Locks the contributor. Raises Forbidden without a club, Invalid with every
    finding, Conflict where too many rounds are under way, AccountClosed and AccountSuspended.
    """
    _check(draft)
    with transaction.atomic():
        organiser = lock_uploader(by)
        club = _club_of(organiser)
        if organiser.organised.exclude(state=Round.State.CLOSED).count() >= MOST_UNDER_WAY:
            raise Conflict(
                gettext("%(most)d of your rounds are under way already: close one first.")
                % {"most": MOST_UNDER_WAY}
            )
        made = _with_a_code(
            Round(
                club=club,
                organiser=organiser,
                packer=draft.packer or organiser,
                title=draft.title.strip(),
                starts_on=draft.starts_on,
                results_by=draft.results_by,
                line_state=draft.line_state,
                tyer=draft.tyer,
                sigma_relative=draft.sigma_relative,
            )
        )
        _store_parts(made, draft)
        _notify_named(made, set())
    return made


def change(by: Contributor, of: Round, draft: RoundDraft) -> Round:
    """Put another draft in place of a round's, as long as it is being set up.

    Who has entered stays entered. Pulls of a lot stay with the lot of the same line and spool.
    One transaction. Locks the contributor, then the round. Raises as `set_up`, Forbidden for
    somebody else's round, and Conflict once it is open.
    """
    _check(draft)
    with transaction.atomic():
        organiser = lock_uploader(by)
        now = lock_round_of(organiser, of)
        require(now, Round.State.SETTING_UP)
        named = set(_named(now))
        now.title, now.packer = draft.title.strip(), draft.packer or organiser
        now.starts_on, now.results_by = draft.starts_on, draft.results_by
        now.line_state, now.tyer = draft.line_state, draft.tyer
        now.sigma_relative = draft.sigma_relative
        now.save()
        now.samples.all().delete()
        _store_parts(now, draft)
        _notify_named(now, named)
    return now


def extend(by: Contributor, of: Round, results_by: date) -> Round:
    """Move the last day for results of an open round to a later one, and notify who takes part.

    All else stays as it was when the round was opened. What came late is late no more where it is
    in time by the new day. One transaction. Locks the contributor, then the round. Raises Forbidden
    for somebody else's round, Conflict where it is not open, Invalid, AccountClosed and
    AccountSuspended.
    """
    with transaction.atomic():
        now = lock_round_of(lock_uploader(by), of)
        require(now, Round.State.OPEN)
        was = now.results_by
        if results_by <= was:
            expected = gettext("a day after %(day)s") % {"day": was}
            raise Invalid(
                gettext("The last day for results can be moved to a later day only."),
                [Finding("", "results_by", f"{results_by}", expected)],
            )
        if far := list(too_far_off(results_by)):
            raise Invalid(gettext("The last day for results is too far off."), far)
        now.results_by = results_by
        now.save(update_fields=["results_by"])
        moved = RoundEvent.What.MOVED
        RoundEvent.objects.create(round=now, what=moved, results_by=results_by, was=was)
        _notify_of_the_last_day(now, was)
    return now


def _notify_of_the_last_day(now: Round, was: date) -> None:
    """A notice to all who take part or pack or tie; it says to some that they are late no more."""
    until = as_written(now.results_by)
    text = f"Results of the round are now in time until {until}; it was {as_written(was)} before."
    sealed = SealedSession.objects.filter(
        participant__round=now,
        state=SealedSession.State.SEALED,
        received_at__date__gt=was,
        received_at__date__lte=now.results_by,
    )
    no_longer_late = set(sealed.values_list("participant_id", flat=True))
    taking_part = now.participants.filter(withdrawn_at=None).select_related("contributor__user")
    for one in taking_part:
        said = f"{text} What you sent late is in time." if one.pk in no_longer_late else text
        notify_of_round(one.contributor, now, said)
    others = {pk: who for (_, pk), who in _named(now).items()}
    for pk in others.keys() - {one.contributor_id for one in taking_part}:
        notify_of_round(others[pk], now, text)


def as_written(day: date) -> str:
    """A day as pages write it in English, which notices are stored in."""
    return f"{day.day} {day:%b %Y}"


def lock_round(of: Round) -> Round:
    """Lock a round's row, after the contributors who write, and read it as it is now."""
    return Round.objects.select_for_update(of=("self",), no_key=True).get(pk=of.pk)


def lock_round_of(organiser: Contributor, of: Round) -> Round:
    """The same of one's own. Raises Forbidden for somebody else's."""
    if of.organiser_id != organiser.pk:
        raise Forbidden(gettext("Only the organiser of a round does this."))
    return lock_round(of)


def require(now: Round, state: Round.State) -> None:
    """Raise Conflict where a round is in another state."""
    if now.state != state:
        raise Conflict(
            gettext("The round is %(now)s: this is done while it is %(state)s.")
            % {"now": now.state, "state": state}
        )


def _named(of: Round) -> dict[tuple[str, int], Contributor]:
    """Who packs and who ties for everybody, where it is not the organiser, by what they do."""
    roles = {"pack and label its samples": of.packer, "tie for everybody": of.tyer}
    return {
        (what, who.pk): who
        for what, who in roles.items()
        if who is not None and who.pk != of.organiser_id
    }


def _notify_named(of: Round, before: set[tuple[str, int]]) -> None:
    """A notice to those who were named for something and were not ``before``."""
    for (what, pk), who in _named(of).items():
        if (what, pk) not in before:
            notify_of_round(who, of, f"The organiser of the round has named you to {what}.")


def _check(draft: RoundDraft) -> None:
    found = findings_of(draft)
    if found:
        raise Invalid(gettext("The round can't be set up so. Nothing was stored."), found)


def _club_of(organiser: Contributor) -> Club:
    if organiser.club is None:
        raise Forbidden(
            gettext(
                "Rounds are a club's: ask a member of yours for an invitation, or the person who "
                "runs the service to enter it."
            )
        )
    return organiser.club


def _with_a_code(made: Round) -> Round:
    for _ in range(TRIES):
        made.entry_code = new_code()
        try:
            with transaction.atomic():
                made.save(force_insert=True)
        except IntegrityError:
            continue
        return made
    raise Conflict(gettext("No code could be drawn for the round: try again."))


def _store_parts(made: Round, draft: RoundDraft) -> None:
    lots = _lots(made, draft)
    RoundSample.objects.bulk_create(
        _sample(made, number, sample, lots) for number, sample in enumerate(draft.samples, start=1)
    )


def _lots(made: Round, draft: RoundDraft) -> dict[int, RoundLot]:
    """The lots of a draft by number, those that were there already with what was pulled of them."""
    there = {(lot.line_id, lot.spool): lot for lot in made.lots.all()}
    wanted = {(lot.line.pk, lot.spool.strip()) for lot in draft.lots}
    made.lots.exclude(pk__in=[lot.pk for key, lot in there.items() if key in wanted]).delete()
    # Numbers are unique: those that stay make way before they get their new ones.
    made.lots.update(number=F("number") + FAR)
    found = {}
    for number, lot in enumerate(draft.lots, start=1):
        found[number], _ = RoundLot.objects.update_or_create(
            round=made, line=lot.line, spool=lot.spool.strip(), defaults={"number": number}
        )
    return found


def _sample(
    made: Round, number: int, sample: SampleDraft, lots: dict[int, RoundLot]
) -> RoundSample:
    return RoundSample(
        round=made,
        number=number,
        connection=sample.connection,
        doubled=sample.doubled,
        main_lot=lots[sample.main_lot],
        leader_lot=None if sample.leader_lot is None else lots[sample.leader_lot],
        terminal=" ".join(sample.terminal.casefold().split()),
        parameters=parameters_of(
            sample.connection, dict(sample.parameters), f"samples[{number - 1}]", Findings()
        ),
        specification=sample.specification.strip(),
        tied=sample.tied,
        ties=sample.ties,
        codes=sample.codes,
        level=sample.level,
    )
