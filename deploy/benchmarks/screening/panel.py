"""All kinds by name: honest ones, then slips, copies and frauds, then who is harmed."""

from deploy.benchmarks.screening import accounts, copies, harm, honest, invented, units
from deploy.benchmarks.screening.kinds import ENTERED, Group, Kind

ROOMS = (honest, units, copies, accounts, invented, harm)
"""Modules whose functions are kinds: each enters its own as it is imported."""

KINDS: dict[str, Kind] = {
    name: one for group in Group for name, one in ENTERED.items() if one.group == group
}
