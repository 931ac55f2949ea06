"""Sets of a round that their tester corrects after its close."""

from __future__ import annotations

from results.models.round_results import RoundSet
from results.models.sessions import PullSet, Session


def carry_over(replaced: Session, corrected: Session) -> None:
    """Bind the sets of a corrected session to the codes of those that they take the place of.

    A set takes the place of that of its label, if it is of the same join on the same lines. In the
    transaction of who stored it. The report marks participants who have such sets.
    """
    of_old = RoundSet.objects.filter(pull_set__session=replaced).select_related("pull_set")
    known = {_tie(one.pull_set): one for one in of_old}
    RoundSet.objects.bulk_create(
        RoundSet(pull_set=one, specimen_id=old.specimen_id, tied_by_id=old.tied_by_id)
        for one in (corrected.pull_sets.all() if known else ())
        if (old := known.get(_tie(one))) is not None
    )


def _tie(one: PullSet) -> tuple[str, int, int, int | None]:
    return one.label.casefold(), one.connection_id, one.main_line_id, one.leader_line_id
