"""Reviews: a moderator's decisions and questions, a contributor's answers and appeals; all kept.

A contributor's record is nowhere looked at: each set is decided on by its own evidence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import structlog
from django.contrib.auth.models import AnonymousUser, User
from django.db import transaction
from django.utils.translation import gettext

from results import notices
from results.jobs import stale_marks
from results.models import Message, NormalisedSet, PullSet, ReviewCase, Session, StateChange
from results.models.lifecycle import COUNTING, State, move
from results.models.states import ALLOWED
from results.normalising.references import fix_references
from results.normalising.reprocess import enqueue_reprocessing
from results.normalising.usable_straight import borrowers_of_unusable, possible_borrowers, usable
from results.pools.influence import pool_shift
from rigs.locks import lock_contributor
from rigs.permissions import is_moderator
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

log = structlog.get_logger(__name__)

DECISIONS = {"hold": State.HELD, "release": State.RELEASED, "reject": State.REJECTED}
LONGEST_TEXT = 4000
MOST_UNANSWERED = 20
"""So often a contributor may write in a thread before a moderator has written in it."""


def decide(
    *, by: User, pull_set: PullSet, decision: str, reason: str, expected: int | None = None
) -> StateChange:
    """Hold, release or reject a pull set, and mark its pool as stale, in one transaction.

    Where the set counted, the pool has no public figure until it is computed without it.
    ``expected`` is the version of the case that the moderator had before them (see
    `version_of`). Where an appeal waits, the same decision once more turns it down. Raises
    Forbidden for anyone but a moderator, for a moderator's own submission, and for one who took
    the decision that is appealed; Invalid for an unknown decision or an empty reason; Conflict
    where the set's state does not allow it or the case has moved on. Locks: the row of the set.
    """
    return decide_many(
        by=by,
        pull_sets=[pull_set],
        decision=decision,
        reason=reason,
        expected=None if expected is None else {pull_set.pk: expected},
    )[0]


def decide_many(
    *,
    by: User,
    pull_sets: Sequence[PullSet],
    decision: str,
    reason: str,
    letters: Mapping[int, str] | None = None,
    expected: dict[int, int] | None = None,
) -> list[StateChange]:
    """One decision on several sets, on all or on none; each pool is computed again once.

    By set: ``letters`` has what is kept and read instead of ``reason``, ``expected`` the version
    of its case. Arguments, refusals and locks as `decide`.
    """
    for pull_set in pull_sets:
        check_may_review(by, pull_set)
    findings = _findings(decision, reason)
    if findings:
        raise Invalid(gettext("The decision is not complete."), findings)
    with transaction.atomic():
        changes = []
        for pull_set in _locked(pull_sets):
            _check_stands(pull_set)
            _check_version(pull_set, (expected or {}).get(pull_set.pk))
            letter = (letters or {}).get(pull_set.pk, reason)
            changes.append(_decide(by, pull_set, decision, letter.strip()))
        for session in {change.pull_set.session for change in changes}:
            _follow(session)
    return changes


def _follow(session: Session) -> None:
    """Reprocess sets whose baseline is held now, or that lacked one.

    What a released session is the first to count with is fixed as the reference of its pairs, and
    sessions that measured against the other line of a pair are reprocessed.
    """
    enqueue_reprocessing(borrowers_of_unusable(session))
    if usable(session.baselines.all()).exists():
        enqueue_reprocessing(possible_borrowers(session))
    enqueue_reprocessing(fix_references(session))


def ask_many(
    *, by: User, pull_sets: Sequence[PullSet], text: str, letters: Mapping[int, str]
) -> list[Message]:
    """A question about several sets, in one transaction; refusals as `ask`.

    ``letters`` has by set what is asked instead of ``text``.
    """
    with transaction.atomic():
        return [
            ask(by=by, pull_set=pull_set, text=letters.get(pull_set.pk, text))
            for pull_set in pull_sets
        ]


def ask(*, by: User, pull_set: PullSet, text: str) -> Message:
    """Ask the contributor a question in the set's thread; nothing else changes.

    Raises Forbidden as `decide` does, Invalid without a question, Conflict where the set was
    withdrawn. Locks: the row of the set.
    """
    check_may_review(by, pull_set)
    with transaction.atomic():
        (locked,) = _locked([pull_set])
        _check_stands(locked)
        message = _say(by, locked, Message.Kind.QUESTION, text)
        notices.notify_owner(
            pull_set,
            f"A moderator asks about set {pull_set.pk}: {message.text}",
            about=notices.About.THREAD,
        )
    return message


def answer(*, by: User, pull_set: PullSet, text: str) -> Message:
    """Say something in the thread of one's own set.

    Locks the contributor. Raises Forbidden, AccountClosed, Invalid, and Conflict after so much
    that no moderator has answered.
    """
    _check_owns(by, pull_set)
    with transaction.atomic():
        lock_contributor(pull_set.session.contributor)
        latest = pull_set.messages.order_by("-pk").values_list("by", flat=True)[:MOST_UNANSWERED]
        if list(latest) == [by.pk] * MOST_UNANSWERED:
            raise Conflict(
                gettext(
                    "The last %(most_unanswered)s words here are yours: wait until a "
                    "moderator answers."
                )
                % {"most_unanswered": MOST_UNANSWERED}
            )
        return _say(by, pull_set, Message.Kind.ANSWER, text)


def appeal(*, by: User, pull_set: PullSet, text: str) -> Message:
    """Have another moderator look at the latest decision on one's own set.

    Raises Forbidden for someone else's set, Invalid without a reason, and Conflict where no
    person has decided against the set, or an appeal waits already. Locks: the contributor, then
    the row of the set.
    """
    _check_owns(by, pull_set)
    _check_text(text)
    with transaction.atomic():
        lock_contributor(pull_set.session.contributor)
        (locked,) = _locked([pull_set])
        case, _ = ReviewCase.objects.get_or_create(pull_set=locked)
        if case.appealed_id is not None:
            raise Conflict(gettext("An appeal on this set waits already."))
        decided = locked.state_changes.filter(by__isnull=False).order_by("-pk").first()
        if locked.state not in (State.HELD, State.REJECTED) or decided is None:
            raise Conflict(
                gettext(
                    "No moderator has decided against this set. Where it is held by a check, "
                    "say in its thread what explains it: a moderator will look."
                )
            )
        case.appealed = decided
        case.save(update_fields=["appealed"])
        return _say(by, locked, Message.Kind.APPEAL, text)


def version_of(pull_set: PullSet) -> int:
    """A number that grows with every change of a case: of its state, and in its thread."""
    return pull_set.state_changes.count() + pull_set.messages.count()


def may_follow(user: User | AnonymousUser, pull_set: PullSet) -> bool:
    """Whether checks and thread of a set are open to this user: its contributor, moderators."""
    return is_moderator(user) or pull_set.session.contributor.user_id == user.pk


def decisions_open_to(by: User, case: ReviewCase) -> list[str]:
    """The decisions that this moderator can take on a case as it stands, by name.

    Raises Forbidden and Conflict as `ask` does. The set of the case and the appealed decision are
    at hand.
    """
    check_may_review(by, case.pull_set)
    _check_stands(case.pull_set)
    state, appealed = State(case.pull_set.state), case.appealed
    if appealed is not None and appealed.by_id == by.pk:
        return []
    return [
        name
        for name, to in DECISIONS.items()
        if to in ALLOWED[state] or (to == state and appealed is not None)
    ]


def _decide(by: User, pull_set: PullSet, decision: str, reason: str) -> StateChange:
    to = DECISIONS[decision]
    case = ReviewCase.objects.filter(pull_set=pull_set).select_related("appealed").first()
    appealed = case.appealed if case else None
    if appealed is not None and appealed.by_id == by.pk:
        raise Forbidden(
            gettext("The appeal is against your decision: another moderator looks at it.")
        )
    if pull_set.state != to:
        move([pull_set], to, by=by, reason=reason)
    elif appealed is not None:
        StateChange.objects.create(
            pull_set=pull_set, from_state=to, to_state=to, by=by, reason=reason
        )
    else:
        raise Conflict(gettext("This set is %(to)s already.") % {"to": to})
    normalised = NormalisedSet.objects.filter(pull_set=pull_set).first()
    if case is None and to == State.HELD:
        shift = _shift(normalised) if normalised else None
        ReviewCase.objects.create(pull_set=pull_set, pool_shift=shift)
    elif appealed is not None:
        ReviewCase.objects.filter(pk=pull_set.pk).update(appealed=None)
    change: StateChange = pull_set.state_changes.latest("pk")
    Message.objects.create(pull_set=pull_set, by=by, kind=Message.Kind.DECISION, text=reason)
    if normalised is not None:
        stale_marks.mark(
            [normalised.pool_id],
            f"decision {change.pk} on set {pull_set.pk}: {decision}",
            takes_down=change.from_state in COUNTING and to not in COUNTING,
        )
    notices.notify_owner(
        pull_set, f"Set {pull_set.pk} is {to} now. {reason}", about=notices.About.THREAD
    )
    return change


def _shift(normalised: NormalisedSet) -> float | None:
    """How far the pool would move; None also where it can't be computed, which stops no one."""
    try:
        with transaction.atomic():
            return pool_shift(normalised)
    except Exception:
        log.exception("shift of a pool not computed", pull_set=normalised.pull_set_id)
        return None


def check_may_review(by: User, pull_set: PullSet) -> None:
    if not is_moderator(by):
        raise Forbidden(gettext("Only a moderator can decide on a submission."))
    if pull_set.session.contributor.user_id == by.pk:
        raise Forbidden(
            gettext("This is your own submission: another moderator has to decide on it.")
        )


def _check_owns(by: User, pull_set: PullSet) -> None:
    if pull_set.session.contributor.user_id != by.pk:
        raise Forbidden(gettext("Only the contributor of a set answers and appeals for it."))


def _locked(pull_sets: Sequence[PullSet]) -> list[PullSet]:
    """The sets as they are now, locked in one order so that two moderators can't deadlock."""
    return list(
        PullSet.objects.select_for_update(of=("self",), no_key=True)
        .select_related("session__contributor__user")
        .filter(pk__in=[pull_set.pk for pull_set in pull_sets])
        .order_by("pk")
    )


def _check_stands(pull_set: PullSet) -> None:
    """Raise Conflict where a set was withdrawn, which ends its case."""
    if pull_set.state != State.WITHDRAWN:
        return
    replaced = pull_set.session.standing == Session.Standing.REPLACED
    raise Conflict(
        (
            gettext(
                "Set %(number)s was withdrawn: its tester has sent a corrected version of its "
                "session. It counts in no pool, and there is nothing to ask or to decide."
            )
            if replaced
            else gettext(
                "Set %(number)s was withdrawn by its tester. It counts in no pool, and there is "
                "nothing to ask or to decide."
            )
        )
        % {"number": pull_set.pk}
    )


def _check_version(pull_set: PullSet, expected: int | None) -> None:
    now = version_of(pull_set)
    if expected is not None and expected != now:
        raise Conflict(
            gettext(
                "This case has moved on since you looked at it (version %(now)s, not "
                "%(expected)s): someone decided, asked or answered. Look again before "
                "deciding."
            )
            % {"now": now, "expected": expected}
        )


def _say(by: User, pull_set: PullSet, kind: Message.Kind, text: str) -> Message:
    _check_text(text)
    return Message.objects.create(pull_set=pull_set, by=by, kind=kind, text=text.strip())


def _check_text(text: str) -> None:
    if not text.strip() or len(text) > LONGEST_TEXT:
        found = (
            gettext("%(text)s characters") % {"text": len(text)}
            if text.strip()
            else gettext("nothing")
        )
        raise Invalid(
            gettext("This can't be kept in the thread."),
            [
                Finding(
                    "",
                    "text",
                    found,
                    gettext("some words, at most %(longest_text)s characters")
                    % {"longest_text": LONGEST_TEXT},
                )
            ],
        )


def _findings(decision: str, reason: str) -> list[Finding]:
    findings = []
    if decision not in DECISIONS:
        known = ", ".join(DECISIONS)
        findings.append(
            Finding("", "decision", repr(decision), gettext("one of %(known)s") % {"known": known})
        )
    if not reason.strip():
        findings.append(
            Finding(
                "", "reason", gettext("nothing"), gettext("a sentence the contributor can read")
            )
        )
    return findings
