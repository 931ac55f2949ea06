"""Prove a whole store: that it is what was sent, decided and computed.

Bytes against their sums, pulls against bytes, states against decisions, sealed sessions of rounds
against what the close made of them, figures and reports of rounds against pulls, and the chain
that seals history. It reads, and writes nothing. Ends with 1 where it finds a fault.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from deploy.verifying.erased import Erased
from deploy.verifying.faults import Fault
from deploy.verifying.figures import wrong_figures
from deploy.verifying.history import broken_links, end_of_chain, wrong_states
from deploy.verifying.rounds import wrong_reports, wrong_rounds
from deploy.verifying.uploads import wrong_uploads

MOST = 100
"""Faults of a kind that are listed: from there on something is wrong with all."""


class Command(BaseCommand):
    """Lists each fault, and says of each kind how many there are."""

    help = __doc__ or ""

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--without-figures",
            action="store_true",
            help="leave out computing pools and rounds again, which takes longest",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        erased = Erased()
        kinds: dict[str, Callable[[], Iterator[Fault]]] = {
            "bytes and pulls": lambda: wrong_uploads(erased),
            "states": wrong_states,
            "rounds": lambda: wrong_rounds(erased),
            "chain": lambda: broken_links(erased),
        }
        if not options["without_figures"]:
            kinds |= {"reports of rounds": wrong_reports, "figures": wrong_figures}
        found = 0
        for kind, looked_for in kinds.items():
            faults = list(islice(looked_for(), MOST))
            found += len(faults)
            for fault in faults:
                self.stdout.write(str(fault))
            more = " and more" if len(faults) == MOST else ""
            self.stdout.write(f"{kind}: {len(faults) or 'no'}{more} faults")
        links, end = end_of_chain()
        self.stdout.write(f"chain of {links} links, which ends with {end}")
        if found:
            raise CommandError(f"The store has {found} faults.")
