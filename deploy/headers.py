"""Security headers of every response (Content Security Policy Level 3, W3C), and compression."""

from __future__ import annotations

from collections.abc import Callable

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
NOT_NEEDED = ("camera", "geolocation", "microphone", "payment", "usb")
PERMISSIONS = ", ".join(f"{feature}=()" for feature in NOT_NEEDED)


def security_headers(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Put the policies on each answer, whatever it is."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        framed = getattr(response, "xframe_options_exempt", False)
        response["Content-Security-Policy"] = FRAMED if framed else POLICY
        response["Permissions-Policy"] = PERMISSIONS
        return response

    return middleware


TEXT = ("text/", "application/json", "application/problem+json", "application/vnd.oai.openapi")


class CompressForStrangers(GZipMiddleware):
    """gzip for text that is answered to anybody.

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
        return super().process_response(request, response)  # type: ignore[return-value]  # the same
