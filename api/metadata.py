"""What OPTIONS answers: the methods of an address, and where they are described."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rest_framework.metadata import BaseMetadata
from rest_framework.request import Request
from rest_framework.reverse import reverse

if TYPE_CHECKING:
    from rest_framework.views import APIView  # which imports this module, by its settings


class Methods(BaseMetadata):
    """The methods in ``Allow``, and the addresses of the OpenAPI document and of its page."""

    def determine_metadata(self, request: Request, view: APIView) -> dict[str, Any]:
        return {
            "methods": view.allowed_methods,
            "schema": reverse("api:schema", request=request),
            "docs": reverse("api:docs", request=request),
        }
