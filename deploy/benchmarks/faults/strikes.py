"""All the faults, by name, in the order in which they strike."""

from __future__ import annotations

from collections.abc import Callable

from deploy.benchmarks.faults import (
    changing,
    cutting,
    embedded,
    holding,
    killing,
    receiving,
    several,
)
from deploy.benchmarks.faults.bench import Bench

FAULTS: dict[str, Callable[[Bench], None]] = {
    **killing.FAULTS,
    **receiving.FAULTS,
    **cutting.FAULTS,
    **holding.FAULTS,
    **changing.FAULTS,
}
EMBEDDED = embedded.FAULTS
"""Those of the embedded service, on a ground of its own."""
SEVERAL = several.FAULTS
"""Those of a service on several hosts."""
