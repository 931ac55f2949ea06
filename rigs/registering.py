"""Register rigs and lines: a rig, its next revision, a missing line."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext

from rigs.locks import lock_contributor
from rigs.metrology.bounds import EARLIEST_DAY, latest_day
from rigs.models import Line, Rig, RigRevision
from rigs.permissions import Account, contributor_of, is_moderator, may
from rigs.refusals import Conflict, Finding, Forbidden, Invalid


def register_rig(by: User, name: str, first: RigRevision) -> Rig:
    """Store a rig with its first revision, which comes unsaved and without rig or number.

    Locks the contributor. Raises Invalid for a day still to come, AccountClosed, and Conflict where
    the tester has a rig of this name.
    """
    owner = contributor_of(by)
    _check_day(first.made_on)
    try:
        with transaction.atomic():
            lock_contributor(owner)
            rig = Rig.objects.create(owner=owner, name=name)
            first.rig, first.number = rig, 1
            first.save(force_insert=True)
    except IntegrityError:
        raise _name_taken("rig", name, Rig.objects.filter(owner=owner)) from None
    return rig


def revise_rig(
    by: User, rig: Rig, made_on: date, what_changed: str, why: str, changes: Mapping[str, Any]
) -> RigRevision:
    """Store the rig's next revision: the latest one with ``changes``, its fields by name.

    Locks the contributor, then the rig, so that two revisions at once get two numbers. Raises
    Forbidden for someone else's rig, AccountClosed, and Invalid for a day still to come or before
    the latest revision.
    """
    if not may(by, "rigs.revise_rig", rig):
        raise Forbidden(gettext("This rig is someone else's: only its owner can revise it."))
    with transaction.atomic():
        lock_contributor(rig.owner)
        Rig.objects.select_for_update(no_key=True).get(pk=rig.pk)
        revisions = RigRevision.objects.filter(rig=rig)
        number = 1 + revisions.latest("number").number
        revision = revisions.filter(standing=RigRevision.Standing.CURRENT).latest("number")
        _check_day(made_on, not_before=revision.made_on)
        for field, value in changes.items():
            setattr(revision, field, value)
        revision.pk, revision._state.adding = None, True
        revision.number, revision.version = number, 1
        revision.made_on, revision.what_changed, revision.why = made_on, what_changed, why
        revision.save(force_insert=True)
    return revision


def propose_line(by: User, line: Line) -> Line:
    """Store a line, which comes unsaved; a moderator's is accepted at once.

    Its proposer may use it before it is accepted. Locks the contributor. Raises AccountClosed, and
    Conflict where the name is taken.
    """
    line.proposed_by, line.accepted = contributor_of(by), is_moderator(by)
    try:
        with transaction.atomic():
            lock_contributor(line.proposed_by)
            line.save(force_insert=True)
    except IntegrityError:
        raise _name_taken("line", line.name, Line.objects.all()) from None
    return line


def accept_line(by: Account, line: Line) -> Line:
    """Open a proposed line to everyone. Raises Forbidden unless ``by`` is a moderator."""
    if not may(by, "rigs.accept_line"):
        raise Forbidden(gettext("Only a moderator accepts a line into the catalogue."))
    line.accepted = True
    line.save(update_fields=["accepted"])
    return line


def _check_day(made_on: date, not_before: date | None = None) -> None:
    today = latest_day(timezone.now())
    if made_on > today:
        expected = gettext("a day not after today, %(today)s") % {"today": f"{today:%Y-%m-%d}"}
    elif made_on < EARLIEST_DAY:
        expected = gettext("a day not before %(earliest_day)s") % {
            "earliest_day": f"{EARLIEST_DAY:%Y-%m-%d}"
        }
    elif not_before and made_on < not_before:
        expected = gettext("a day not before the latest revision, %(not_before)s") % {
            "not_before": f"{not_before:%Y-%m-%d}"
        }
    else:
        return
    raise Invalid(
        gettext("%(day)s can't be the day of it.") % {"day": f"{made_on:%Y-%m-%d}"},
        [Finding("", "made_on", f"{made_on:%Y-%m-%d}", expected)],
    )


def _name_taken(what: str, name: str, among: QuerySet[Line] | QuerySet[Rig]) -> Conflict:
    first = among.filter(name__iexact=name).first()
    existing = f" (number {first.pk})" if first else ""
    return Conflict(
        gettext("There is already a %(what)s of this name%(existing)s.")
        % {"what": what, "existing": existing},
        [
            Finding(
                "", "name", name, gettext("a name that is not taken, in small or capital letters")
            )
        ],
    )
