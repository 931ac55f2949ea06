"""Throttling: requests per minute of an account, or of an address without one.

A count for each window of a minute, raised by one atomic step, so that requests at one instant
can't pass together as they do through a list that is read and written back. However many tokens
an account makes, they share its allowance.
"""

from __future__ import annotations

import ipaddress
import time
from dataclasses import dataclass

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest

WINDOW_S = 60
SITE_BITS = 64
"""One subscriber has that many leading bits of an IPv6 address (RFC 6177) and all that follow."""


@dataclass(frozen=True)
class Allowance:
    """What is left of this window, and in how many seconds the next one begins.

    ``of`` says what is counted: an account or an address. ``is_spent`` where this request was one
    too many.
    """

    of: str
    left: int
    seconds: int
    is_spent: bool


def spend(request: HttpRequest, account: int | None) -> Allowance:
    """Count a request of an account, or of its address where there is none; keeps it there."""
    of, who = ("account", str(account)) if account is not None else ("address", _site(request))
    now = time.time()
    seconds = WINDOW_S - int(now % WINDOW_S)
    left = settings.SAMESPOOL_REQUESTS_A_MINUTE - count(
        f"requests:{of}:{who}:{int(now // WINDOW_S)}"
    )
    allowance = Allowance(of, max(left, 0), seconds, is_spent=left < 0)
    vars(request)["allowance"] = allowance
    return allowance


def address_of(request: HttpRequest) -> str:
    """The address a request came from, as the outermost of our own proxies saw it.

    Each proxy adds the address it was asked from to the end of X-Forwarded-For. Whatever stands
    further left than we have proxies was written by the client, and without proxies all of it was.
    """
    asked_from: str = request.META.get("REMOTE_ADDR", "")
    proxies: int = settings.ALLAUTH_TRUSTED_PROXY_COUNT
    seen = request.headers.get("X-Forwarded-For", "").split(",")
    if 0 < proxies <= len(seen):
        return seen[-proxies].strip() or asked_from
    return asked_from


def _site(request: HttpRequest) -> str:
    """The address, and of an IPv6 one its network, since a subscriber has the rest of it."""
    written = address_of(request)
    try:
        address = ipaddress.ip_address(written)
    except ValueError:
        return "unknown"
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((address, SITE_BITS), strict=False).network_address)
    return str(address)


def count(key: str, window_s: int = WINDOW_S) -> int:
    """How many this is in its window; 0 if the store is unreachable: it fails open.

    One atomic step, so that what comes at one instant can't pass together. Only the first of a
    window has to begin the count.
    """
    try:
        return cache.incr(key)
    except ValueError:
        cache.add(key, 0, timeout=2 * window_s)
    try:
        return cache.incr(key)
    except ValueError:  # a store that came back empty between the two
        return 0
