"""Look up rigs, lines and testers, as each reader may see them."""

from __future__ import annotations

from django.db.models import Count, Prefetch, QuerySet

from rigs.models import Calibration, Club, Contributor, Rig, RigRevision


def clubs() -> QuerySet[Club]:
    """Every club, with its number of members."""
    return Club.objects.annotate(member_count=Count("members")).order_by("name", "id")


def contributors() -> QuerySet[Contributor]:
    """Every tester's public profile: handle, club, rigs."""
    return (
        Contributor.objects.filter(user__is_active=True)
        .select_related("club")
        .prefetch_related("rigs")
        .order_by("handle", "id")
    )


def profiles() -> QuerySet[Contributor]:
    """The same, and those of closed accounts, which stand behind what was kept."""
    return Contributor.objects.select_related("club").prefetch_related("rigs").order_by("pk")


def rigs() -> QuerySet[Rig]:
    """Every rig with its revisions, oldest first, voided ones left out.

    Rigs are public; where they stand is not.
    """
    return (
        Rig.objects.select_related("owner__user")
        .prefetch_related(Prefetch("revisions", current_revisions()))
        .order_by("owner__handle", "name", "id")
    )


def revisions() -> QuerySet[RigRevision]:
    """Every revision, with its rig and its rig's owner."""
    return RigRevision.objects.select_related("rig__owner__user").order_by("rig_id", "number")


def current_revisions() -> QuerySet[RigRevision]:
    """Every revision that was not voided, by number."""
    return revisions().filter(standing=RigRevision.Standing.CURRENT).order_by("number")


def calibrations() -> QuerySet[Calibration]:
    """Every calibration with its readings, newest first, replaced and voided ones too."""
    return (
        Calibration.objects.select_related("revision__rig__owner__user", "change__by__contributor")
        .prefetch_related("readings")
        .order_by("-made_on", "-id")
    )


def current_calibrations() -> QuerySet[Calibration]:
    """Every calibration that is used, newest first."""
    return calibrations().filter(standing=Calibration.Standing.CURRENT)
