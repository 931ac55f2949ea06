"""The licence that contributors share their data under; they agree to it when they sign up."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Licence:
    """A licence by its name, its identifier in the SPDX list and where its text is."""

    name: str
    identifier: str
    address: str


SHARED_DATA = Licence(
    name="Creative Commons Attribution 4.0 International",
    identifier="CC-BY-4.0",
    address="https://creativecommons.org/licenses/by/4.0/",
)
