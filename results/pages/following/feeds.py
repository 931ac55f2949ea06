"""Atom feeds (RFC 4287) of what is new: everywhere, of a pool, join, line pair or tester."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib.syndication.views import Feed
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.feedgenerator import Atom1Feed
from django.utils.html import escape
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from results.catalogue.connections import connections_visible_to
from results.http_cache.cache_marks import edition_of_pool, edition_of_pools
from results.http_cache.cached_view import cache_by_edition
from results.models import LINE_PAIR, Connection, Pool, PoolVersion, Round, RoundEvent
from results.pages.figures import conditions, line_pair, whole_name
from results.pages.following.words import figure_of, what_changed
from results.pages.pools.line_pair import pools_asked_for, query_of
from results.pools import selectors
from results.pools.news import news, news_of_tester
from results.public.readers import reader_of
from results.public.seeing import seen
from results.rounds.news import events, in_words
from results.rounds.selectors import rounds
from rigs.licence import SHARED_DATA
from rigs.models import Contributor
from rigs.selectors import profiles

ENTRIES = 30


class News(Feed[PoolVersion, Any]):
    """New versions of all pools, the newest first; the other feeds are of some of them."""

    feed_type = Atom1Feed
    author_name = "Samespool contributors"
    feed_copyright = SHARED_DATA.name

    def title(self, _obj: Any) -> str:
        return _("Samespool: what is new")

    def subtitle(self, _obj: Any) -> str:
        return _("New versions of pooled efficiencies, with what changed and why.")

    def link(self, _obj: Any) -> str:
        return reverse("pages:pools")

    def versions(self, _obj: Any) -> QuerySet[PoolVersion]:
        return news()

    def items(self, obj: Any) -> list[PoolVersion]:
        return list(self.versions(obj)[:ENTRIES])

    def item_title(self, item: PoolVersion) -> str:
        return f"{whole_name(item.pool)}: {figure_of(item)}"

    def item_description(self, item: PoolVersion) -> str:
        return escape(what_changed(item))

    def item_link(self, item: PoolVersion) -> str:
        return reverse("pages:version", args=(item.pool_id, item.number))

    def item_pubdate(self, item: PoolVersion) -> datetime:
        return item.computed_at

    def item_updateddate(self, item: PoolVersion) -> datetime:
        return item.computed_at


class NewsOfPool(News):
    """Versions of one pool."""

    def get_object(self, _request: HttpRequest, pk: int) -> Pool:
        return get_object_or_404(selectors.pools(), pk=pk)

    def title(self, pool: Pool) -> str:
        return f"Samespool: {whole_name(pool)}"

    def link(self, pool: Pool) -> str:
        return reverse("pages:pool", args=(pool.pk,))

    def versions(self, pool: Pool) -> QuerySet[PoolVersion]:
        return news(Q(pk=pool.pk))


class NewsOfJoin(News):
    """Versions of the pools of one join, on all line pairs."""

    def get_object(self, request: HttpRequest, pk: int) -> Connection:
        found: Connection = get_object_or_404(connections_visible_to(request.user), pk=pk)
        return found

    def title(self, connection: Connection) -> str:
        return f"Samespool: {connection.name}"

    def link(self, connection: Connection) -> str:
        return reverse("pages:connection", args=(connection.pk,))

    def versions(self, connection: Connection) -> QuerySet[PoolVersion]:
        return news(Q(connection=connection))


class NewsOfLinePair(News):
    """Versions of the pools of one line pair, of all joins; its query is that of the page."""

    def get_object(self, request: HttpRequest) -> Pool:
        return pools_asked_for(request)[0]

    def title(self, first: Pool) -> str:
        return f"Samespool: {line_pair(first)}, {conditions(first)}"

    def link(self, first: Pool) -> str:
        return f"{reverse('pages:line-pair')}?{query_of(first)}"

    def feed_url(self, first: Pool) -> str:
        return f"{reverse('pages:feed-line-pair')}?{query_of(first)}"

    def versions(self, first: Pool) -> QuerySet[PoolVersion]:
        return news(Q(**{name: getattr(first, name) for name in LINE_PAIR}))


class NewsOfTester(News):
    """Versions that a set of one tester's came into or left, where their sets are shown."""

    def get_object(self, _request: HttpRequest, pk: int) -> Contributor:
        found = get_object_or_404(profiles(), pk=pk)
        if not found.shows_sets:
            raise Http404
        return found

    def title(self, contributor: Contributor) -> str:
        return f"Samespool: {contributor.handle}"

    def link(self, contributor: Contributor) -> str:
        return reverse("pages:contributor", args=(contributor.handle,))

    def versions(self, contributor: Contributor) -> QuerySet[PoolVersion]:
        return news_of_tester(contributor)


class NewsOfRound(Feed[tuple[RoundEvent, str], Round]):
    """What happened in one round that everyone may read."""

    feed_type = Atom1Feed
    author_name = "Samespool contributors"
    feed_copyright = SHARED_DATA.name

    def get_object(self, request: HttpRequest, pk: int) -> Round:
        shown: Round = seen(get_object_or_404(rounds(), pk=pk), reader_of(request))
        return shown

    def title(self, of: Round) -> str:
        return f"Samespool: {of.title}"

    def subtitle(self, of: Round) -> str:
        return _("A round of %(club)s: when it opened and closed, and its report.") % {
            "club": of.club.name
        }

    def link(self, of: Round) -> str:
        return reverse("pages:round", args=(of.pk,))

    def items(self, of: Round) -> list[tuple[RoundEvent, str]]:
        """Each with the round's title as this reader may see it."""
        return [(one, of.title) for one in events().filter(round=of.pk)[:ENTRIES]]

    def item_title(self, item: tuple[RoundEvent, str]) -> str:
        event, title = item
        return f"{capfirst(title)}: {in_words(event)}"

    def item_description(self, item: tuple[RoundEvent, str]) -> str:
        return escape(in_words(item[0]))

    def item_link(self, item: tuple[RoundEvent, str]) -> str:
        event, _title = item
        if event.what == RoundEvent.What.REPORTED:
            report = reverse("pages:round-report", args=(event.round_id,))
            return f"{report}?version={event.version}"
        return f"{reverse('pages:round', args=(event.round_id,))}#event-{event.pk}"

    def item_pubdate(self, item: tuple[RoundEvent, str]) -> datetime:
        return item[0].at

    def item_updateddate(self, item: tuple[RoundEvent, str]) -> datetime:
        return item[0].at


def _of_all(**_parts: Any) -> str:
    """What any feed says changes with the edition of the pools."""
    return edition_of_pools()


everywhere = require_safe(cache_by_edition(_of_all)(News()))
of_pool = require_safe(cache_by_edition(edition_of_pool)(NewsOfPool()))
of_join = require_safe(cache_by_edition(_of_all)(NewsOfJoin()))
of_line_pair = require_safe(cache_by_edition(_of_all)(NewsOfLinePair()))
of_tester = require_safe(NewsOfTester())
of_round = require_safe(NewsOfRound())
