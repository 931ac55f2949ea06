"""Read request bodies to their end, even if the response doesn't need them.

A body that is refused unread, for its size or its sender, would be cut off while the proxy still
passes it on, and the proxy would answer 502 in place of the refusal.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.core.handlers.wsgi import LimitedStream

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

LONGEST = 16 * 1024 * 1024
"""More than the proxy passes on; a longer body is cut off."""
AT_ONCE = 64 * 1024


def reading_whole_bodies(application: WSGIApplication) -> WSGIApplication:
    """The application, but that the bodies of its requests are read to their end."""

    def answer(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        length = _content_length(environ)
        if not 0 < length <= LONGEST:
            return application(environ, start_response)
        body: Any = LimitedStream(environ["wsgi.input"], length)
        response = application({**environ, "wsgi.input": body}, start_response)
        while body.read(AT_ONCE):
            pass
        return response

    return answer


def _content_length(environ: WSGIEnvironment) -> int:
    try:
        return int(environ.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0
