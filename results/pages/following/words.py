"""What a new version of a pool says, in words for those who follow it."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from results.models import PoolVersion
from results.pages.figures import between, percent

REASONS = 5
"""Reasons that are named; the rest are at the version."""


def figure_of(version: PoolVersion) -> str:
    """The pooled efficiency of a version with its interval, or why there is none."""
    if version.taken_down_at is not None:
        return _("superseded, being computed again")
    if version.efficiency is None:
        return _("no pooled figure")
    interval = between(version.interval_low, version.interval_high)
    return f"{percent(version.efficiency)} ({interval})"


def what_changed(version: PoolVersion) -> str:
    """From what the figure went to what, by which sets, and why; of a version from `news`."""
    sentences = [_sentence_of_figure(version), *_sentences_of_sets(version)]
    if version.why:
        reasons = [*version.why[:REASONS], *(["…"] if len(version.why) > REASONS else [])]
        sentences.append(_("Why: %(reasons)s.") % {"reasons": "; ".join(reasons)})
    return " ".join(sentences)


def _sentence_of_figure(version: PoolVersion) -> str:
    names = {
        "number": version.number,
        "figure": figure_of(version),
        "before": percent(version.before),
    }
    if version.before is None or version.efficiency is None or version.taken_down_at:
        return _("Version %(number)d: %(figure)s.") % names
    if names["before"] == percent(version.efficiency):
        return _("Version %(number)d: %(figure)s, as before.") % names
    return _("Version %(number)d: %(figure)s; it was %(before)s.") % names


def _sentences_of_sets(version: PoolVersion) -> list[str]:
    added, removed = version.added, version.removed
    sentences = [
        ngettext("From %(n)d tester.", "From %(n)d testers.", version.testers)
        % {"n": version.testers}
    ]
    if added:
        sentences.append(
            ngettext("%(n)d set was added.", "%(n)d sets were added.", added) % {"n": added}
        )
    if removed:
        sentences.append(
            ngettext("%(n)d set was removed.", "%(n)d sets were removed.", removed) % {"n": removed}
        )
    return sentences
