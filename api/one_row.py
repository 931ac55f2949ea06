"""Single resources, whole or in those members that ``?fields=`` asks for."""

from __future__ import annotations

from typing import Any, TypeVar

from django.db.models import Model
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics
from rest_framework.request import Request
from rest_framework.response import Response

from api.sparse import fields_asked, only

Row = TypeVar("Row", bound=Model)
READING = ("GET", "HEAD")
FIELDS = OpenApiParameter(
    "fields", str, description="members to answer, with commas between; all where left out"
)


@extend_schema(methods=["GET"], parameters=[FIELDS])
class OneRow(generics.RetrieveAPIView[Row]):
    """One row, or those members of it that are asked for."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self.asked = fields_asked(request, self) if request.method in READING else []

    def finalize_response(
        self, request: Request, response: Response, *args: Any, **kwargs: Any
    ) -> Response:
        if request.method in READING and response.status_code == 200:
            response.data = only(response.data, self.asked)
        return super().finalize_response(request, response, *args, **kwargs)
