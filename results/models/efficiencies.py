"""What normalising makes of a pull set: its efficiency against its own rig's straight line."""

from __future__ import annotations

from typing import Any

from django.db import models

from results.models.pools import Pool
from results.models.sessions import Baseline, PullSet
from rigs.models import Calibration, Line
from rigs.models.within import finite


class PairReference(models.Model):
    """The reference line of a pair whose lines part too near one another for a session to tell.

    That of the first session that counts with both. A session asks the others that pulled both
    first, and this one where there are none under its conditions.
    """

    main_line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="+")
    leader_line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="+")
    reference_line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["main_line", "leader_line"], name="pair_has_one_reference"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.main_line} to {self.leader_line}: {self.reference_line}"


class WrittenWith(models.DateTimeField[Any, Any]):
    """``computed_at`` once more, by code that knows the columns beside it.

    All code that writes a row renews ``computed_at``, and none leaves this one behind but code
    that does not know it. Where the two differ, such code wrote the row last, and its columns of
    today are still those of an earlier writing.
    """

    def pre_save(self, model_instance: Any, add: bool) -> Any:  # noqa: ARG002
        """The moment that ``computed_at``, a field before this one, has just got."""
        moment = model_instance.computed_at
        setattr(model_instance, self.attname, moment)
        return moment


class NormalisedSet(models.Model):
    """Strengths of a set and of its baseline in newtons, and their ratio.

    ``log_ratio``, ``own_variance`` and ``shared_variance`` rest on the set's own scatter; the
    pool replaces it by the scatter of all its sets (Doncaster & Spake 2018).
    """

    pull_set = models.OneToOneField(
        PullSet, primary_key=True, on_delete=models.CASCADE, related_name="normalised"
    )
    pool = models.ForeignKey(Pool, on_delete=models.PROTECT, related_name="normalised_sets")
    baseline = models.ForeignKey(Baseline, on_delete=models.PROTECT, related_name="normalised_sets")
    calibration = models.ForeignKey(
        Calibration, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    resolution_N = models.FloatField(
        null=True, help_text="of the scale, where that was corrected since it was first entered"
    )
    pulls = models.PositiveIntegerField(help_text="all, voids included")
    counted = models.PositiveIntegerField(help_text="pulls that say something of the strength")
    failure_modes = models.JSONField(help_text="pulls by failure mode")
    mean_N = models.FloatField()
    cv = models.FloatField()
    n_effective = models.FloatField()
    degrees_of_freedom = models.FloatField()
    baseline_counted = models.PositiveIntegerField()
    baseline_mean_N = models.FloatField()
    baseline_cv = models.FloatField()
    baseline_n_effective = models.FloatField()
    baseline_degrees_of_freedom = models.FloatField()
    log_ratio = models.FloatField()
    own_variance = models.FloatField()
    shared_variance = models.FloatField()
    efficiency = models.FloatField()
    interval_low = models.FloatField(null=True)
    interval_high = models.FloatField(null=True)
    interval_open = models.CharField(max_length=200, blank=True)
    u_offset_log = models.FloatField(help_text="of log_ratio, from the zero of the scale")
    zero_of_pulls_log = models.FloatField(
        null=True,
        help_text="what zeros that traces show move log_ratio by; empty without traces",
    )
    missed_peak_log = models.FloatField(
        null=True,
        help_text="what peaks between two samples move log_ratio by; empty without traces",
    )
    join_itself = models.JSONField(default=dict, help_text="the strength of the join apart")
    pull_places = models.JSONField(
        null=True, help_text="by failure mode the class of each pull; empty until they are placed"
    )
    straight_places = models.JSONField(null=True, help_text="those of the straight pulls behind it")
    lowest_share = models.FloatField(
        null=True, help_text="lowest pull that is a strength, over the mean straight line"
    )
    notes = models.JSONField(default=list)
    computed_at = models.DateTimeField(auto_now=True)
    placed_at = WrittenWith(
        null=True, editable=False, help_text="computed_at of when the classes of pulls were kept"
    )

    class Meta:
        ordering = ["pull_set_id"]
        constraints = [
            finite(
                "normalised_set_is_finite",
                *("mean_N", "cv", "baseline_mean_N", "baseline_cv", "log_ratio", "own_variance"),
                *("shared_variance", "efficiency", "interval_low", "interval_high"),
                "u_offset_log",
                also=models.Q(efficiency__gt=0, mean_N__gt=0, baseline_mean_N__gt=0),
            ),
            finite("what_traces_show_is_finite", "zero_of_pulls_log", "missed_peak_log"),
            models.CheckConstraint(
                condition=models.Q(counted__lte=models.F("pulls"), own_variance__gte=0),
                name="normalised_set_counts_what_was_pulled",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pull_set}: {self.efficiency:.3f}"
