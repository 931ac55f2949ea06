"""What no view has to look out for."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, JsonResponse

from api.problems import CONTENT_TYPE, problem_of
from rigs.refusals import Unreadable


def refuse_unstorable_text(
    answer: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Refuse a NUL in the address or in its query, or an Authorization header beyond ASCII."""

    def middleware(request: HttpRequest) -> HttpResponse:
        address = request.path + request.META.get("QUERY_STRING", "")
        if "\x00" in address or "%00" in address:
            error = Unreadable("The address holds a NUL character.")
        elif not request.headers.get("Authorization", "").isascii():
            error = Unreadable("The Authorization header holds characters beyond ASCII.")
        else:
            return answer(request)
        problem = problem_of(error)
        return JsonResponse(
            problem.document(request.path.replace("\x00", "%00")),
            status=problem.status,
            content_type=CONTENT_TYPE,
        )

    return middleware
