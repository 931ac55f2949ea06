"""Security headers of every response (Content Security Policy Level 3, W3C)."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

# The admin's list of rows without actions brings one rule of style inside the page; the hash
# lets in that text and no other.
ADMIN_LIST_STYLE = "'sha256-blvLUW3UscWqsXGByNOqdBboM+ShWAuugp2mC/wbafU='"
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
        "frame-ancestors 'none'",
    )
)
NOT_NEEDED = ("camera", "geolocation", "microphone", "payment", "usb")
PERMISSIONS = ", ".join(f"{feature}=()" for feature in NOT_NEEDED)


def security_headers(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Put the policies on each answer, whatever it is."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = answer(request)
        response["Content-Security-Policy"] = POLICY
        response["Permissions-Policy"] = PERMISSIONS
        return response

    return middleware
