"""The line products that a pool's figure is for, as its page names them."""

from __future__ import annotations

from dataclasses import dataclass

from results.models import PoolVersion
from results.pools.estimate import LINE_PRODUCT
from results.pools.figures import figures_of, findings_of
from rigs.models import Line


@dataclass(frozen=True)
class Product:
    """A pair of lines; no leader where the join ends at a terminal."""

    main: Line
    leader: Line | None
    testers: int
    sets: int


@dataclass(frozen=True)
class Products:
    """The products listed, of ``number`` in all, and the variance between them if it was fitted."""

    listed: list[Product]
    number: int
    between: float | None

    @property
    def unlisted(self) -> int:
        """How many more there are."""
        return self.number - len(self.listed)


def products_of(version: PoolVersion) -> Products | None:
    """None for a version from before products were listed."""
    found = findings_of(version).get("line_products")
    if not found:
        return None
    listed = found["products"]
    lines = Line.objects.in_bulk(
        {each[which] for each in listed for which in ("main_line", "leader_line")} - {None}
    )
    crossed = (figures_of(version).get("crossed") or {}).get(LINE_PRODUCT)
    return Products(
        [
            Product(
                lines[each["main_line"]],
                lines.get(each["leader_line"]),
                each["testers"],
                each["sets"],
            )
            for each in listed
        ],
        found["number"],
        crossed["tau2"] if crossed else None,
    )
