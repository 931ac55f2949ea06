"""Members that v1 no longer shows to everyone: the one exception to 'nothing is removed'.

Each is still shown to its owner and to moderators, and has its reason here.
"""

from __future__ import annotations

from collections.abc import Iterable

GONE = "is no longer always there"
_GRAVITY = "with check weights of round masses it gives away the local gravity, and so the latitude"
_NOTE = "free text that may name people and places"

FOR_PRIVACY: dict[str, str] = {
    "local_gravity": "it inverts to the latitude of the rig",
    "points[].force_N": _GRAVITY,
    "points[].mass": "masses and readings together give the gain, and so the local gravity",
    "points[].reading": "masses and readings together give the gain, and so the local gravity",
    "points[].residual_N": "with the line it gives the force, and so the local gravity",
    "points[].u_mass_kg": "the tolerance discloses the mass",
    "reading_class.forces": _GRAVITY,
    "reading_class.why_not_better": "it names the forces",
    "what_changed": _NOTE,
    "why": _NOTE,
}
"""By the member that is left out; what else is removed, narrowed or newly required is a break."""


def kept_private(broken: Iterable[str]) -> tuple[list[str], list[str]]:
    """What of these breaks protects privacy, and what is a break all the same."""
    private: list[str] = []
    others: list[str] = []
    for each in broken:
        place, _, what = each.rpartition(": ")
        listed = what == GONE and any(place.endswith(f".{name}") for name in FOR_PRIVACY)
        (private if listed else others).append(each)
    return private, others
