"""An API client as a contributor would run it: signs in, sends, reads."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import requests
from requests.adapters import HTTPAdapter
from urllib3 import Retry

TIMEOUT_S = 30
ASKED_TO_WAIT = Retry(
    None, connect=0, read=0, other=0, status=5,
    status_forcelist=[429], allowed_methods=None, raise_on_status=False,
)  # fmt: skip
"""Who asks too often waits for as long as the service says (Retry-After), up to five times."""


class Refusal(Exception):
    """The service would not take a request; the message is its problem document."""


class Client:
    """One contributor's connection to the service at ``address``, or a reader's without a name."""

    def __init__(self, address: str, handle: str = "", password: str = "") -> None:
        self.api = f"{address}/api/v1"
        self.token = ""
        self._http = requests.Session()
        # The service is on this machine, so ignore any proxy in the environment.
        self._http.trust_env = False
        self._http.mount("http://", HTTPAdapter(max_retries=ASKED_TO_WAIT))
        if handle:
            self.token = self._ask("POST", "/tokens", auth=(handle, password))["token"]
            self._http.headers["Authorization"] = f"Token {self.token}"

    def get(self, path: str, **query: Any) -> Any:
        """One document, by its path or whole address."""
        return self._ask("GET", path, params=query)

    def each(self, path: str, **query: Any) -> Iterator[Any]:
        """Every row of a list, page after page."""
        page = self.get(path, limit=200, **query)
        yield from page["results"]
        while page["next"]:
            page = self.get(page["next"])
            yield from page["results"]

    def post(self, path: str, document: Any, *, key: str = "") -> Any:
        """Send a document; with a ``key``, sending it again is answered as the first time."""
        headers = {"Idempotency-Key": key} if key else {}
        return self._ask("POST", path, json=document, headers=headers)

    def put(self, path: str, document: Any) -> Any:
        """Send a document in place of what was there."""
        return self._ask("PUT", path, json=document)

    def _ask(self, method: str, path: str, **options: Any) -> Any:
        address = path if path.startswith("http") else self.api + path
        answer = self._http.request(method, address, timeout=TIMEOUT_S, **options)
        if not answer.ok:
            raise Refusal(f"{method} {address}: {answer.status_code} {answer.text[:2000]}")
        return answer.json()
