"""Erase: blank what a person wrote, and record who did so, when and where.

What is blanked is declared in `results.accounts.personal_columns`. Figures, states and the order
of events stay as they were.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.db.models import Case, CharField, F, Model, Q, QuerySet, Value, When
from django.db.models.functions import Cast, Concat
from django.utils.translation import gettext

from results.accounts.personal_columns import (
    BY_OTHERS,
    CLOSED,
    ERASED,
    Numbered,
    Personal,
    Spools,
    rows_of,
)
from results.catalogue.accepted_names import SOURCES
from results.http_cache.cache_marks import next_edition
from results.models import AcceptedName, Baseline, Edition, Erasure, Message, PullSet, StateChange
from results.models.audit_chain import forget_salts
from rigs.models import Contributor
from rigs.refusals import Finding, Forbidden, Invalid

Runs = list[list[int]]
LONGEST_REASON = 1000


def erase_account(contributor: Contributor, *, by: User, reason: str) -> Erasure:
    """Blank every personal column of a contributor, in the transaction of a caller who has locked
    contributor, sessions and sets.

    Of threads and reasons only what the contributor wrote is blanked, and what the service wrote
    of sets it held; words of moderators stay. Locks: the rows it changes.
    """
    reason = _checked(by, contributor, reason)
    columns: dict[str, Runs] = {}
    _forget_names(contributor, columns)
    spools = _spools_of(contributor)
    for personal in ERASED:
        model = personal.model._meta.label
        for rows in rows_of(contributor, model):
            _blank(rows.filter(personal.only), personal, spools, columns)
    of_sets = StateChange.objects.filter(pull_set__session__contributor=contributor)
    own = of_sets.exclude(reason=CLOSED).filter(
        Q(by=contributor.user_id) | Q(by=None, to_state=PullSet.State.HELD)
    )
    _blank(own, Personal("results.StateChange.reason"), spools, columns)
    said = Message.objects.filter(by=contributor.user_id)
    _blank(said, Personal("results.Message.text"), spools, columns)
    return _audited(by, contributor, reason, columns)


def erase_row(row: Model, *, by: User, reason: str, only: Iterable[str] = ()) -> Erasure:
    """Blank the personal columns of one row, or ``only`` those named; one transaction.

    A spool's name is blanked with every row of its contributor that bears it, so that the same
    spool stays the same. Raises Forbidden unless ``by`` is an administrator, and Invalid without a
    reason or where the row has no such column.
    """
    if not by.is_superuser:
        raise Forbidden(gettext("Only an administrator erases what others wrote."))
    reason = _checked(by, None, reason)
    wanted = set(only)
    label = row._meta.label
    declared = [
        each
        for each in (*ERASED, *BY_OTHERS)
        if each.model._meta.label == label and (not wanted or each.column in wanted)
    ]
    missing = wanted - {each.column for each in declared}
    if missing or not declared:
        names = ", ".join(sorted(missing)) or label
        known = ", ".join(each.label for each in (*ERASED, *BY_OTHERS))
        raise Invalid(
            gettext("There is nothing personal to erase there."),
            [Finding("", "columns", names, known)],
        )
    columns: dict[str, Runs] = {}
    with transaction.atomic():
        rows = type(row)._base_manager.filter(pk=row.pk)
        for personal in declared:
            if isinstance(personal.blank, Spools):
                _blank_spool(row, personal, columns)
            else:
                _blank(rows.filter(personal.only), personal, {}, columns)
        next_edition(Edition.Subject.NAMES)
        return _audited(by, None, reason, columns)


def _forget_names(contributor: Contributor, columns: dict[str, Runs]) -> None:
    """Delete accepted names that only this contributor has used."""
    own: dict[str, set[str]] = defaultdict(set)
    others: dict[str, set[str]] = defaultdict(set)
    for kind, model, column, _ in SOURCES:
        if kind == AcceptedName.Kind.TERMINAL:
            continue
        (mine,) = rows_of(contributor, model._meta.label)
        texts = set(mine.order_by().values_list(column, flat=True).distinct())
        elsewhere = model._base_manager.filter(**{f"{column}__in": texts})
        own[kind] |= texts
        others[kind] |= set(
            elsewhere.exclude(pk__in=mine.values("pk")).order_by().values_list(column, flat=True)
        )
    for of_kind, texts in own.items():
        names = AcceptedName.objects.filter(kind=of_kind, text__in=texts - others[of_kind])
        ids = sorted(names.values_list("pk", flat=True))
        names.delete()
        if ids:
            columns.setdefault("results.AcceptedName.text", []).extend(_runs(ids))


def _blank_spool(row: Any, personal: Personal, columns: dict[str, Runs]) -> None:
    name, session = getattr(row, personal.column), row.session
    spools = {name: _spools_of(session.contributor)[name]} if name else {}
    for each in ERASED:
        if isinstance(each.blank, Spools):
            for rows in rows_of(session.contributor, each.model._meta.label):
                _blank(rows.filter(**{each.column: name}), each, spools, columns)


def _blank(
    rows: QuerySet[Any], personal: Personal, spools: dict[str, str], columns: dict[str, Runs]
) -> None:
    """Blank a column of those rows where it is not blank, and note which they were."""
    column, blank = personal.column, personal.blank
    if isinstance(blank, Numbered | Spools):
        suffixes = ("", f" {uuid.uuid4().hex[:8]}")
        values = [_replacement(personal, spools, suffix) for suffix in suffixes]
        rows = rows.exclude(**{column: values[0]})
    else:
        values = [Value(blank, personal.field)]
        rows = rows.exclude(**{column: blank})
    ids = sorted(rows.values_list("pk", flat=True))
    if not ids:
        return
    for value in values:
        try:
            with transaction.atomic():
                rows.update(**{column: value})
            break
        except IntegrityError:
            # Somebody typed that very name before: the next one can't be guessed.
            if value is values[-1]:
                raise
    columns[personal.label] = _runs(ids)


def _replacement(personal: Personal, spools: dict[str, str], suffix: str) -> Any:
    if isinstance(personal.blank, Numbered):
        number = Cast("pk", CharField())
        return Concat(Value(f"{personal.blank.word} "), number, Value(suffix))
    if not spools:
        return F(personal.column)
    named = [
        When(**{personal.column: name}, then=Value(f"{new}{suffix}"))
        for name, new in spools.items()
    ]
    return Case(*named, default=F(personal.column))


def _spools_of(contributor: Contributor) -> dict[str, str]:
    """A number for the name of each spool, in the order that they were first sent."""
    straight = Baseline.objects.filter(session__contributor=contributor).order_by("pk")
    joined = PullSet.objects.filter(session__contributor=contributor).order_by("pk")
    names = [
        *straight.values_list("spool", flat=True),
        *joined.values_list("main_spool", flat=True),
        *joined.values_list("leader_spool", flat=True),
    ]
    distinct = [name for name in dict.fromkeys(names) if name]
    return {name: str(number) for number, name in enumerate(distinct, start=1)}


def _runs(ids: list[int]) -> Runs:
    """Ascending row numbers as runs: 4, 5, 6, 9 become [4, 6] and [9, 9]."""
    runs: Runs = []
    for pk in ids:
        if runs and runs[-1][1] == pk - 1:
            runs[-1][1] = pk
        else:
            runs.append([pk, pk])
    return runs


def _checked(by: User, contributor: Contributor | None, reason: str) -> str:
    own = contributor is not None and contributor.user_id == by.pk
    if not own and not by.is_superuser:
        raise Forbidden(gettext("Only an administrator erases what others wrote."))
    if not reason.strip() or len(reason) > LONGEST_REASON:
        expected = gettext(
            "a sentence of at most %(longest_reason)s characters, without the text itself"
        ) % {"longest_reason": LONGEST_REASON}
        raise Invalid(
            gettext("A reason is needed, for the audit."),
            [Finding("", "reason", gettext("nothing"), expected)],
        )
    return reason.strip()


def _audited(
    by: User, account: Contributor | None, reason: str, columns: dict[str, Runs]
) -> Erasure:
    forget_salts(columns)
    return Erasure.objects.create(by=by, account=account, reason=reason, columns=columns)
