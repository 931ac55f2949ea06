"""The admin's view of rounds, in which nothing can be read before its round is closed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from results.models import (
    LotPull,
    Round,
    RoundEvent,
    RoundLot,
    RoundParticipant,
    RoundReport,
    RoundSample,
    RoundSet,
    RoundSight,
    RoundSpecimen,
    SealedSession,
)
from rigs.admin import read_only


def _once_closed(path: str) -> Callable[..., QuerySet[Any]]:
    """Rows of closed rounds alone; ``path`` leads from a row to its round."""

    def get_queryset(table: admin.ModelAdmin[Any], request: HttpRequest) -> QuerySet[Any]:
        rows = admin.ModelAdmin.get_queryset(table, request)
        return rows.filter(**{f"{path}__state": Round.State.CLOSED})

    return get_queryset


read_only(
    Round,
    "id title club organiser state starts_on results_by closed_at",
    filters="state starts_on",
    related="club organiser",
    search="=id title club__name organiser__handle",
    exclude=["entry_code"],  # who has it can enter
)
read_only(
    RoundParticipant,
    "id round contributor number late entered_at withdrawn_at",
    filters="late entered_at",
    related="round contributor",
    search="=round__id contributor__handle",
)
read_only(
    RoundEvent,
    "id round what at results_by was version",
    filters="what at",
    related="round",
    search="=round__id",
)
read_only(
    RoundSight,
    "id round contributor at",
    filters="at",
    related="round contributor",
    search="=round__id contributor__handle",
)
read_only(
    SealedSession,
    "id participant state late received_at session",
    filters="state late received_at",
    related="participant session__contributor",
    search="=id =participant__round__id participant__contributor__handle",
    exclude=["body"],
)
read_only(
    RoundLot,
    "id round number line spool",
    related="round line",
    search="=round__id line__name spool",
    get_queryset=_once_closed("round"),
)
read_only(
    LotPull,
    "id lot occasion piece number reading_written unit",
    related="lot__line",
    search="=lot__round__id",
    get_queryset=_once_closed("lot__round"),
)
read_only(
    RoundSample,
    "id round number connection tied ties codes level",
    related="round connection",
    search="=round__id connection__name",
    get_queryset=_once_closed("round"),
)
read_only(
    RoundSpecimen,
    "id code participant sample copy sent_in",
    related="participant sample sent_in",
    search="=code =sample__round__id",
    get_queryset=_once_closed("sample__round"),
)
read_only(
    RoundSet,
    "id pull_set specimen",
    related="pull_set__connection specimen",
    search="=pull_set__id =specimen__code",
    get_queryset=_once_closed("specimen__sample__round"),
)
read_only(
    RoundReport,
    "id round number state attempts asked_at made_at problem",
    filters="state asked_at",
    related="round",
    search="=round__id",
    exclude=["report"],
    get_queryset=_once_closed("round"),
)
