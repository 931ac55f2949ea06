"""Security headers of every response (Content Security Policy Level 3, W3C), and compression."""

from __future__ import annotations

import re
from collections.abc import Callable

import brotli
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.middleware.gzip import GZipMiddleware
from django.utils.cache import patch_vary_headers

# The admin's list of rows without actions brings one rule of style inside the page; the hash
# lets in that text and no other.
ADMIN_LIST_STYLE = "'sha256-blvLUW3UscWqsXGByNOqdBboM+ShWAuugp2mC/wbafU='"
NOT_FRAMED = "frame-ancestors 'none'"
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        f"style-src 'self' {ADMIN_LIST_STYLE}",
        # Pictures inside pages: the code that sets up a second factor, signs of the API's page.
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        NOT_FRAMED,
    )
)
FRAMED = POLICY.replace(NOT_FRAMED, "frame-ancestors *").replace("script-src 'self'; ", "")
"""Of views that Django lets be framed (`xframe_options_exempt`): on any page, and no script."""
OF_A_PICTURE = "; ".join(
    ("default-src 'none'", "img-src 'self'", "style-src 'unsafe-inline'", NOT_FRAMED)
)
"""Of a picture that is opened by itself, in which the browser lays it out by styles of its own.

A PNG holds neither styles nor scripts, so that this lets in nothing that we sent.
"""
NOT_NEEDED = ("camera", "geolocation", "microphone", "payment", "usb")
PERMISSIONS = ", ".join(f"{feature}=()" for feature in NOT_NEEDED)


def security_headers(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Put the policies on each answer, whatever it is."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        response["Content-Security-Policy"] = _policy_of(response)
        response["Permissions-Policy"] = PERMISSIONS
        return response

    return middleware


def _policy_of(response: HttpResponse) -> str:
    if response.get("Content-Type") == "image/png":
        return OF_A_PICTURE
    return FRAMED if getattr(response, "xframe_options_exempt", False) else POLICY


TEXT = (
    *("text/", "image/svg+xml", "application/json", "application/problem+json"),
    "application/vnd.oai.openapi",
)

LEAST_BYTES = 200
BROTLI_QUALITY = 4
"""As quick as gzip at its usual level, and smaller."""


class CompressForStrangers(GZipMiddleware):
    """Brotli or gzip, whichever the client likes better, for text that is answered to anybody.

    Answers within a session are left as they are: beside a secret, the length of what is
    compressed gives the secret away to who can choose other parts of the page (BREACH: Gluck,
    Harris & Prado 2013). Files of the open data are compressed already.
    """

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:  # type: ignore[override]  # Django's stubs take any response
        if response.streaming or not response.get("Content-Type", "").startswith(TEXT):
            return response
        if settings.SESSION_COOKIE_NAME in request.COOKIES:
            patch_vary_headers(response, ["Accept-Encoding"])
            return response
        if _prefers_brotli(request.headers.get("Accept-Encoding", "")):
            return _in_brotli(response)
        return super().process_response(request, response)  # type: ignore[return-value]  # the same


def _prefers_brotli(accepted: str) -> bool:
    """Whether br is taken, and no less than gzip (RFC 9110, section 12.5.3)."""
    weights = {"br": 0.0, "gzip": 0.0}
    for part in accepted.split(","):
        name, _, parameters = part.strip().lower().partition(";")
        if name.strip() in weights:
            found = re.fullmatch(r"\s*q=(\d(?:\.\d{0,3})?)\s*", parameters)
            weights[name.strip()] = float(found[1]) if found else 1.0
    return weights["br"] > 0 and weights["br"] >= weights["gzip"]


def _in_brotli(response: HttpResponse) -> HttpResponse:
    """As Django's gzip: nothing short, nothing packed already, and a weak ETag for other bytes."""
    patch_vary_headers(response, ["Accept-Encoding"])
    if len(response.content) < LEAST_BYTES or response.has_header("Content-Encoding"):
        return response
    packed = brotli.compress(response.content, quality=BROTLI_QUALITY)
    if len(packed) < len(response.content):
        response.content = packed
        response["Content-Length"] = str(len(packed))
        response["Content-Encoding"] = "br"
        etag = response.get("ETag", "")
        if etag.startswith('"'):
            response["ETag"] = f"W/{etag}"
    return response
