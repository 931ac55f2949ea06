"""Why a pool was computed: sentences that are kept, and the reason of a decision they name.

A sentence names sessions, sets and decisions by number; what a moderator said is read from the
decision itself, so that it is nowhere twice.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from results.models import StateChange

_DECISION = re.compile(r"decision (\d+) on set \d+: \w+")


def with_reasons(why: Sequence[str]) -> list[str]:
    """Each sentence, a decision with its reason; no query where there is none."""
    numbers = {sentence: found[1] for sentence in why if (found := _DECISION.fullmatch(sentence))}
    if not numbers:
        return list(why)
    reasons = dict(StateChange.objects.filter(pk__in=numbers.values()).values_list("pk", "reason"))
    said = {sentence: reasons.get(int(number), "") for sentence, number in numbers.items()}
    return [f"{each}, {said[each]}" if said.get(each) else each for each in why]
