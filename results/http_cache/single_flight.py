"""Single flight: threads that wait for the same query share its next result."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from threading import Lock
from typing import Generic, TypeVar

Answer = TypeVar("Answer")


class SingleFlight(Generic[Answer]):
    """Calls ``ask`` once for all callers that arrive while another call is running.

    A caller never gets a result whose call began before it arrived, so it is as fresh as its own.
    An error is shared as well: with the database gone, a caller waits for at most two calls.
    """

    def __init__(self, ask: Callable[[], Answer]) -> None:
        self._ask = ask
        self._turns = count(1)
        self._one_at_a_time = Lock()
        self._begun = 0
        self._found: Answer
        self._error: Exception | None = None

    def __call__(self) -> Answer:
        came = next(self._turns)
        with self._one_at_a_time:
            if self._begun < came:
                self._ask_now()
            if self._error is not None:
                raise self._error
            return self._found

    def _ask_now(self) -> None:
        begun = next(self._turns)
        try:
            self._found, self._error = self._ask(), None
        except Exception as error:
            self._error = error
        self._begun = begun
