"""What views of one round share."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext
from rest_framework import generics, serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.response import Response

from results.models import Round, RoundParticipant
from results.rounds import selectors
from rigs.models import Contributor
from rigs.permissions import contributor_of
from rigs.refusals import Forbidden


class OfARound(generics.GenericAPIView[Round]):
    """Views of one round, for those who are signed in."""

    permission_classes = [IsAuthenticated]
    serializer_class: type[serializers.BaseSerializer[Any]] | None = None
    pagination_class = None
    queryset = selectors.rounds()

    def by(self) -> Contributor:
        return contributor_of(self.request.user)

    def part(self) -> RoundParticipant:
        """One's own part. Raises Forbidden for who takes no part."""
        participant = selectors.participant_of(self.get_object(), self.by())
        if participant is None:
            raise Forbidden(gettext("You don't take part in this round."))
        return participant

    def answer(self, kind: type[serializers.BaseSerializer[Any]], found: Any) -> Response:
        many = isinstance(found, list)
        return Response(kind(found, many=many, context=self.get_serializer_context()).data)
