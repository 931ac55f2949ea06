"""That the fuzzer finds what it looks for: two operations are broken here on purpose."""

import pytest
from django.urls import include, path
from rest_framework.response import Response

from api.lines import Lines
from api.people import Clubs
from deploy.tools.fuzzing import fuzz
from deploy.urls import urlpatterns as real_urls


class BreakingClubs(Clubs):
    """Ends in an error that nobody foresaw."""

    def get(self, *_given, **_named):
        raise RuntimeError


class UndocumentedLines(Lines):
    """Answers in a form that the document does not have."""

    def get(self, *_given, **_named):
        return Response({"count": "many"})


broken = [
    path("api/v1/clubs", BreakingClubs.as_view()),
    path("api/v1/lines", UndocumentedLines.as_view()),
]
urlpatterns = [path("", include(broken)), *real_urls]


@pytest.mark.urls(__name__)
def test_an_error_and_an_answer_outside_the_document_are_found(live_server, tmp_path):
    found = fuzz(live_server.url, {}, 1, tmp_path, random_state=1, phases="examples,fuzzing")

    said = "\n".join(found.failures)
    assert "Server error: GET /api/v1/clubs" in said
    assert "Response violates schema: GET /api/v1/lines" in said
    assert "/api/v1/connections" not in said
