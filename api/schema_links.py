"""Which operation an answer leads to, and by which of its members (Link Objects of OpenAPI 3.1)."""

from __future__ import annotations

from typing import Any

ITS_ID = "$response.body#/id"
FIRST = "$response.body#/results/0/id"
THE_SAME = "$request.path.id"

LINKS: dict[tuple[str, str], dict[str, str]] = {
    ("connections_list", "200"): {"connections_retrieve": FIRST},
    ("lines_create", "201"): {"lines_retrieve": ITS_ID},
    ("lines_list", "200"): {"lines_retrieve": FIRST},
    ("pools_list", "200"): dict.fromkeys(
        ("pools_retrieve", "pools_sets_list", "pools_versions_list", "pools_comparison"), FIRST
    ),
    ("pools_retrieve", "200"): dict.fromkeys(
        ("pools_comparison", "pools_sets_list", "pools_tester_effects_list"), THE_SAME
    ),
    ("pull_sets_retrieve", "200"): dict.fromkeys(
        ("pull_sets_budget", "pull_sets_traces_list", "pull_sets_thread"), THE_SAME
    ),
    ("revisions_retrieve", "200"): dict.fromkeys(
        ("revisions_calibrations_create", "revisions_calibrations_list"), ITS_ID
    ),
    ("rigs_create", "201"): dict.fromkeys(
        ("rigs_retrieve", "rigs_revisions_create", "rigs_revisions_list", "rigs_watch"), ITS_ID
    ),
    ("rigs_list", "200"): {"rigs_retrieve": FIRST},
    ("rigs_revisions_create", "201"): dict.fromkeys(
        ("revisions_retrieve", "revisions_calibrations_create"), ITS_ID
    ),
    ("sessions_create", "202"): {"jobs_retrieve": "$response.body#/job/id"},
    ("sessions_list", "200"): {"sessions_retrieve": FIRST},
    ("sessions_retrieve", "200"): {
        "sessions_original_retrieve": THE_SAME,
        "sessions_straight_lines": THE_SAME,
        "sessions_withdraw": THE_SAME,
        "pull_sets_retrieve": "$response.body#/pull_sets/0/id",
    },
}
"""By operation and status, the operations that come next and where their ``id`` is."""


def link_answers(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Say of answers which operations come next."""
    for operations in result["paths"].values():
        for operation in operations.values():
            for status, answer in operation["responses"].items():
                following = LINKS.get((operation["operationId"], status), {})
                if following:
                    answer["links"] = {
                        name: {"operationId": name, "parameters": {"id": where}}
                        for name, where in following.items()
                    }
    return result
