"""What verifying finds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One row that is not as it must be; ``what`` holds no words that people wrote."""

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"
