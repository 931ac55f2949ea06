"""What is public of following, votes and mail: nothing. A line a field."""

from results.public.rules import PRIVATE, Declared

OF_FOLLOWING: dict[str, Declared] = {
    "results.Follow": Declared(
        "none",
        "contributor",
        {
            "id": PRIVATE,
            "contributor": PRIVATE,
            "subject": PRIVATE,
            "number": PRIVATE,
            "since": PRIVATE,
        },
    ),
    "results.Vote": Declared(
        "none",
        "contributor",
        {
            "id": PRIVATE,
            "contributor": PRIVATE,
            "connection": PRIVATE,
            "main_material": PRIVATE,
            "leader_material": PRIVATE,
            "cast_at": PRIVATE,
        },
    ),
    "results.Mailing": Declared(
        "none",
        "contributor",
        {
            "id": PRIVATE,
            "contributor": PRIVATE,
            "every": PRIVATE,
            "key": PRIVATE,
            "through": PRIVATE,
            "rounds_through": PRIVATE,
            "mailed_at": PRIVATE,
            "refused": PRIVATE,
            "again_at": PRIVATE,
        },
    ),
    "results.UnsentMail": Declared(
        "none",
        "contributor",
        {
            "id": PRIVATE,
            "contributor": PRIVATE,
            "subject": PRIVATE,
            "text": PRIVATE,
            "refused": PRIVATE,
            "again_at": PRIVATE,
        },
    ),
}
