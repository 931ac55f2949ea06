"""What is wanted: where a tester more would bring most, and joins that readers ask for."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from results.http_cache.cache_marks import edition_of_wanted
from results.http_cache.cached_view import cache_by_edition
from results.models import Connection, PullSet, Vote
from results.pages import signed_in
from results.pages.measures import COOKIE as MEASURES
from results.pages.showing import render
from results.pages.vocabulary import WORDS
from results.pools.votes import asked_for, take_back, vote
from results.pools.wanted import DIFFERENCE, gains_for, short_pools, undecided
from results.statistics.pool_fit import LEAST_TESTERS
from rigs.models import Material
from rigs.permissions import contributor_behind
from rigs.refusals import Conflict

MOST = 30
MOST_OF_ONES_OWN = 12
MATERIALS = [(material, WORDS[material]) for material in Material.values]


class VoteForm(forms.Form):
    """A join, and the two lines that one would like it pulled on."""

    connection = forms.ModelChoiceField(
        label=gettext_lazy("Join"), queryset=Connection.objects.filter(accepted=True)
    )
    main = forms.ChoiceField(label=gettext_lazy("Main line"), choices=MATERIALS)
    leader = forms.ChoiceField(
        label=gettext_lazy("Leader or terminal"),
        required=False,
        choices=[("", gettext_lazy("hook, ring or swivel")), *MATERIALS],
    )


@require_safe
@cache_by_edition(edition_of_wanted, cookies=(MEASURES,))
def wanted(request: HttpRequest) -> HttpResponse:
    """Pools that are short of testers, joins to be separated, and what a tester can pull next."""
    return _shown(request, VoteForm(label_suffix=""))


@require_http_methods(["GET", "HEAD", "POST"])
@signed_in.contributors_only
def cast_vote(request: HttpRequest) -> HttpResponseBase:
    """Ask for a join, or take one's vote back; who opens the address again is shown the list."""
    if request.method != "POST":
        return redirect("pages:wanted")
    contributor = signed_in.contributor_behind(request)
    if request.POST.get("take_back"):
        take_back(contributor)
        messages.success(request, _("You ask for nothing now."))
        return redirect("pages:wanted")
    form = VoteForm(request.POST, label_suffix="")
    if not form.is_valid():
        return _shown(request, form, status=422)
    asked = form.cleaned_data
    try:
        vote(contributor, asked["connection"], asked["main"], asked["leader"])
    except Conflict as refusal:
        form.add_error("connection", refusal.detail)
        return _shown(request, form, status=422)
    messages.success(request, _("Your vote counts. It moves when you ask for another join."))
    return redirect("pages:wanted")


def _shown(request: HttpRequest, form: VoteForm, status: int = 200) -> HttpResponse:
    contributor = contributor_behind(request.user)
    own = Vote.objects.filter(contributor=contributor).first() if contributor else None
    gains = gains_for(contributor, MOST_OF_ONES_OWN) if contributor else []
    named = {gain.pool.pk for gain in gains}
    context = {
        "contributor": contributor,
        "gains": gains,
        "has_sent": contributor is not None
        and PullSet.objects.filter(session__contributor=contributor).exists(),
        "short": [each for each in short_pools(MOST) if each.pool.pk not in named],
        "undecided": undecided(MOST),
        "asked": asked_for(MOST),
        "own_vote": own,
        "form": form,
        "least_testers": LEAST_TESTERS,
        "difference": DIFFERENCE,
    }
    return render(request, "pages/pools/wanted.html", context, status=status)
