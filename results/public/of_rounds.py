"""What is public of clubs' rounds: a line a field.

Which code is which sample, what samples are of and what was sent is for no one to read before the
close, a moderator's neither: pages and documents of rounds ask `results.rounds.selectors`, which
gives each reader what they may know by then.
"""

from results.public.rules import NAME, PRIVATE, PUBLIC, QUANTITY, Declared

OF_ROUNDS: dict[str, Declared] = {
    "results.Round": Declared(
        "all",
        "organiser",
        {
            "id": PUBLIC,
            "club": PUBLIC,
            "organiser": PUBLIC,
            "packer": PRIVATE,
            "title": NAME,
            "starts_on": PUBLIC,
            "results_by": PUBLIC,
            "line_state": PUBLIC,
            "state": PUBLIC,
            "entry_code": PRIVATE,
            "made_at": PUBLIC,
            "opened_at": PUBLIC,
            "closed_at": PUBLIC,
        },
    ),
    "results.RoundLot": Declared(
        "of closed rounds",
        "round.organiser",
        {
            "id": PUBLIC,
            "round": PUBLIC,
            "number": PUBLIC,
            "line": PUBLIC,
            "spool": NAME,
        },
    ),
    "results.LotPull": Declared(
        "of closed rounds",
        "lot.round.organiser",
        {
            "id": PUBLIC,
            "lot": PUBLIC,
            "occasion": PUBLIC,
            "piece": PUBLIC,
            "number": PUBLIC,
            "reading_written": QUANTITY,
            "unit": QUANTITY,
            "reading_N": PUBLIC,
            "made_at": PUBLIC,
        },
    ),
    "results.RoundSample": Declared(
        "of closed rounds",
        "round.organiser",
        {
            "id": PUBLIC,
            "round": PUBLIC,
            "number": PUBLIC,
            "connection": PUBLIC,
            "doubled": PUBLIC,
            "main_lot": PUBLIC,
            "leader_lot": PUBLIC,
            "terminal": PRIVATE,
            "parameters": PRIVATE,
            "specification": PRIVATE,
            "tied": PUBLIC,
            "ties": PUBLIC,
            "codes": PUBLIC,
            "level": PUBLIC,
        },
    ),
    "results.RoundParticipant": Declared(
        "none",
        "contributor",
        {
            "id": PUBLIC,
            "round": PUBLIC,
            "contributor": PRIVATE,
            "number": PUBLIC,
            "late": PUBLIC,
            "entered_at": PUBLIC,
            "withdrawn_at": PUBLIC,
        },
    ),
    "results.RoundSight": Declared(
        "none",
        "contributor",
        {
            "id": PUBLIC,
            "round": PUBLIC,
            "contributor": PRIVATE,
            "at": PUBLIC,
        },
    ),
    "results.SealedSession": Declared(
        "none",
        "participant.contributor",
        {
            "id": PUBLIC,
            "participant": PUBLIC,
            "idempotency_key": PRIVATE,
            "content_type": PRIVATE,
            "body": PRIVATE,
            "sha256": PRIVATE,
            "late": PUBLIC,
            "state": PUBLIC,
            "problem": PRIVATE,
            "session": PUBLIC,
            "received_at": PUBLIC,
        },
    ),
    "results.RoundSpecimen": Declared(
        "none",
        "participant.contributor",
        {
            "id": PUBLIC,
            "participant": PUBLIC,
            "sample": PRIVATE,
            "copy": PRIVATE,
            "code": PRIVATE,
            "sent_in": PUBLIC,
        },
    ),
    "results.RoundSet": Declared(
        "of closed rounds",
        "pull_set.session.contributor",
        {
            "id": PUBLIC,
            "pull_set": PUBLIC,
            "specimen": PUBLIC,
        },
    ),
    "results.RoundReport": Declared(
        "made",
        "",
        {
            "id": PUBLIC,
            "round": PUBLIC,
            "number": PUBLIC,
            "state": PUBLIC,
            "attempts": PUBLIC,
            "excused": PUBLIC,
            "lease_expires_at": PUBLIC,
            "problem": PRIVATE,
            "asked_at": PUBLIC,
            "made_at": PUBLIC,
            "formulae": PUBLIC,
            "sets": PUBLIC,
            "report": PUBLIC,
        },
    ),
}
