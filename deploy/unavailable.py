"""What is answered where a view or a middleware broke off."""

from __future__ import annotations

import sys

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.views.decorators.csrf import requires_csrf_token

from api.problems import CONTENT_TYPE, problem_of


@requires_csrf_token
def broken_off(request: HttpRequest) -> HttpResponse:
    """503 where the database did not answer, which passes; else 500. A problem under the API."""
    error = sys.exc_info()[1]
    problem = problem_of(error if isinstance(error, Exception) else RuntimeError())
    if request.path.startswith("/api/"):
        answer: HttpResponse = JsonResponse(
            problem.document(request.path), status=problem.status, content_type=CONTENT_TYPE
        )
    else:
        answer = HttpResponse(render_to_string(f"{problem.status}.html"), status=problem.status)
    if problem.retry_after_s:
        answer["Retry-After"] = str(problem.retry_after_s)
    return answer
