"""Names of the scenario, accepted without a moderator."""

from __future__ import annotations

from collections.abc import Sequence

from deploy.demo.round import SPOOL
from deploy.demo.scenario import Document
from deploy.demo.send_round import TITLE
from results.catalogue.accepted_names import accept_from_the_beginning
from results.models import AcceptedName

Kind = AcceptedName.Kind


def accept_names_of(world: Sequence[Document]) -> None:
    """Let everyone read the names of the world's rigs, spools, sets, terminals and round."""
    sessions = [session for submission in world for session in submission["sessions"]]
    sets = [pull_set for session in sessions for pull_set in session["pull_sets"]]
    straight = [baseline for session in sessions for baseline in session["baselines"]]
    sides = [side for one in sets for side in (one["main"], one["leader"]) if side]
    accept_from_the_beginning(Kind.RIG, {submission["rig"]["name"] for submission in world})
    accept_from_the_beginning(Kind.LABEL, {one["label"] for one in sets})
    accept_from_the_beginning(Kind.TERMINAL, {one["terminal"] for one in sets})
    accept_from_the_beginning(Kind.SPOOL, {SPOOL, *(one["spool"] for one in (*straight, *sides))})
    accept_from_the_beginning(Kind.ROUND, {TITLE})
