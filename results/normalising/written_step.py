"""The step that a session's readings are written to, given as the resolution of its rig."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.utils.translation import gettext

from results.models import CheckResult, Session
from results.normalising.reprocess import correct_revision_and_reprocess
from results.statistics.screening.rounding import ROUNDED
from rigs.metrology.units import parse_force
from rigs.refusals import Conflict


def advised_resolution(session: Session) -> str:
    """What the latest screening advises as the resolution, as in '1 lbf'; empty if nothing.

    Readings that were replaced or withdrawn advise nothing.
    """
    if session.standing != Session.Standing.CURRENT:
        return ""
    latest = session.screenings.order_by("-pk").first()
    if latest is None:
        return ""
    found = latest.checks.filter(name=ROUNDED, level=CheckResult.Level.MARK).first()
    if found is None:
        return ""
    now = parse_force(session.revision.resolution_written)
    return f"{found.figure * now.value:g} {now.unit}"


def take_advised_resolution(by: User, session: Session) -> str:
    """Correct the resolution of a session's revision as advised, and reprocess its sessions.

    Returns the resolution. One transaction and the locks of ``correct_revision_and_reprocess``,
    whose refusals it raises; also raises Conflict where nothing is advised.
    """
    resolution = advised_resolution(session)
    if not resolution:
        raise Conflict(gettext("These readings go down to the steps of the scale already."))
    changes = {"resolution_N": parse_force(resolution).newtons, "resolution_written": resolution}
    reason = f"readings of session {session.pk} are written to {resolution}"
    correct_revision_and_reprocess(by, session.revision, changes, reason)
    return resolution
