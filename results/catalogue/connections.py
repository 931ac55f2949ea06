"""The catalogue of connections: testers propose, moderators accept."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib.auth.models import AnonymousUser, User
from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext
from rules.permissions import add_perm

from results.http_cache.cache_marks import next_edition
from results.intake.ties import spoken
from results.jobs import stale_marks
from results.models import Connection, ConnectionAlias, Edition, TieParameter
from results.pools.descriptives import OF_EVERY_SET
from results.public.rows import proposals_for
from rigs.locks import lock_contributor
from rigs.permissions import Account, contributor_of, is_moderator, may
from rigs.refusals import Conflict, Finding, Forbidden, Invalid

add_perm("results.accept_connection", is_moderator)


def connections_visible_to(user: User | AnonymousUser) -> QuerySet[Connection]:
    """Accepted connections, one's own proposals, and all proposals for a moderator."""
    connections = (
        Connection.objects.select_related("proposed_by")
        .prefetch_related("aliases", "parameters")
        .order_by("name", "id")
    )
    return connections.filter(proposals_for(user))


def propose_connection(
    by: User,
    connection: Connection,
    aliases: Sequence[str] = (),
    parameters: Sequence[TieParameter] = (),
) -> Connection:
    """Store a connection, which comes unsaved, with its other names and its tie parameters.

    A moderator's is accepted at once; its proposer may use it before. Locks the contributor. Raises
    AccountClosed, Conflict where the name, or an alias, is that of a connection already, and
    Invalid for a duplicate name, or for a parameter named like what is recorded of every set.
    """
    connection.proposed_by = contributor_of(by)
    connection.accepted = is_moderator(by)
    _check_names([connection.name, *aliases])
    _check_parameters([parameter.name for parameter in parameters])
    try:
        with transaction.atomic():
            lock_contributor(connection.proposed_by)
            connection.save(force_insert=True)
            ConnectionAlias.objects.bulk_create(
                ConnectionAlias(connection=connection, name=name) for name in aliases
            )
            for parameter in parameters:
                parameter.connection = connection
            TieParameter.objects.bulk_create(parameters)
    except IntegrityError:
        raise Conflict(
            gettext("A name of this connection was taken a moment ago, or is given twice.")
        ) from None
    return connection


def add_parameter(parameter: TieParameter) -> TieParameter:
    """Store one more tie parameter, which comes unsaved, of a connection that is there.

    In the caller's transaction. Raises Invalid where it is named like what is recorded of every
    set, and Conflict where the connection has it.
    """
    _check_parameters([parameter.name])
    expected = gettext("a name that no parameter of this connection has")
    taken = Conflict(
        gettext("The connection has this parameter already."),
        [Finding("", "name", parameter.name, expected)],
    )
    known = parameter.connection.parameters.values_list("name", flat=True)
    if spoken(parameter.name) in {spoken(each) for each in known}:
        raise taken
    try:
        with transaction.atomic():
            parameter.save(force_insert=True)
    except IntegrityError:
        raise taken from None
    return parameter


def accept_connection(by: Account, connection: Connection) -> Connection:
    """Open a proposed connection to everyone: from now on its sets count in public.

    One transaction; marks its pools as stale, and locks the row of the edition of pools. Raises
    Forbidden unless ``by`` is a moderator.
    """
    if not may(by, "results.accept_connection"):
        raise Forbidden(gettext("Only a moderator accepts a connection into the catalogue."))
    with transaction.atomic():
        connection.accepted = True
        connection.save(update_fields=["accepted"])
        follow_acceptance(connection)
    return connection


def follow_acceptance(connection: Connection) -> None:
    """Have the pools of a connection that was accepted, or no longer is, follow in public.

    In the caller's transaction: marks its pools as stale, and locks the row of the edition of
    pools.
    """
    done = "accepted into" if connection.accepted else "taken out of"
    pools = connection.pools.order_by().values_list("pk", flat=True)
    stale_marks.mark(pools, f"join {connection.pk} was {done} the catalogue")
    next_edition(Edition.Subject.POOLS)


def _check_names(names: Sequence[str]) -> None:
    if len({name.casefold() for name in names}) < len(names):
        found, expected = ", ".join(names), "each name once, in small or capital letters"
        raise Invalid(gettext("A name is given twice."), [Finding("", "aliases", found, expected)])
    for name in names:
        theirs = Q(name__iexact=name) | Q(aliases__name__iexact=name)
        taken = Connection.objects.filter(theirs).first()
        if taken is not None:
            raise Conflict(
                gettext("'%(name)s' is a name of connection number %(pk)s, %(name_2)s, already.")
                % {"name": name, "pk": taken.pk, "name_2": taken.name},
                [
                    Finding(
                        "", "name", name, gettext("a name that no connection has, nor as an alias")
                    )
                ],
            )


def _check_parameters(names: Sequence[str]) -> None:
    taken = {spoken(name) for name in OF_EVERY_SET}
    for index, name in enumerate(names):
        if spoken(name) in taken:
            expected = "names that differ in more than blanks and case, and none of " + ", ".join(
                f"'{each}'" for each in OF_EVERY_SET
            )
            raise Invalid(
                gettext("Two parameters have one name."),
                [Finding(f"parameters[{index}]", "name", name, expected)],
            )
        taken.add(spoken(name))
