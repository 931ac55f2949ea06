"""A participant's result against the round's: z, z' and zeta (ISO 13528:2022, clauses 7.7 and 9).

The assigned value x_pt is the participants' robust mean, u(x_pt) = 1.25 s*/sqrt(p); the standard
deviation for assessment is the one declared, or s*. z' takes u(x_pt) in and is the one to use where
that is 0.3 sigma_pt or more (9.5), zeta uses what the participant states. Beyond 2 is a warning,
from 3 on a call for action (9.4).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from results.statistics.errors import NotPositive

WARNING, ACTION = 2.0, 3.0
SHARE_OF_SIGMA = 0.3
Outcome = Literal["acceptable", "warning", "action"]
Used = Literal["z", "z_prime"]


@dataclass(frozen=True)
class Score:
    """Scores of one result and what the one in use calls for; zeta is None without its u(x)."""

    participant: int
    value_N: float
    z: float
    z_prime: float
    zeta: float | None
    used: Used
    outcome: Outcome
    zeta_outcome: Outcome | None


def outcome(score: float) -> Outcome:
    """What a z, z' or zeta score calls for."""
    if abs(score) <= WARNING:
        return "acceptable"
    return "warning" if abs(score) < ACTION else "action"


def scored(
    participant: int,
    value: float,
    assigned: float,
    u_assigned: float,
    sigma: float,
    u_value: float | None = None,
) -> Score:
    """Scores of ``value`` against the ``assigned`` one, standard uncertainties in the same unit.

    Raises `NotPositive` unless sigma is above zero and no uncertainty is below.
    """
    if not (sigma > 0 and u_assigned >= 0 and (u_value is None or u_value > 0)):
        raise NotPositive("a standard deviation for assessment or an uncertainty isn't above zero")
    difference = value - assigned
    z, z_prime = difference / sigma, difference / float(np.hypot(sigma, u_assigned))
    zeta = None if u_value is None else difference / float(np.hypot(u_value, u_assigned))
    used: Used = "z_prime" if u_assigned >= SHARE_OF_SIGMA * sigma else "z"
    return Score(
        participant=participant,
        value_N=value,
        z=z,
        z_prime=z_prime,
        zeta=zeta,
        used=used,
        outcome=outcome(z_prime if used == "z_prime" else z),
        zeta_outcome=None if zeta is None else outcome(zeta),
    )
