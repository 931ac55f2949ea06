"""Members of a version's ``figures``: everything computed of a pool, on the log scale."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

from results.models.declared.figure import Figure, Form, Kept, Kind, Scale, Sentence

LOG, FRACTION = Scale.LOG, "a fraction"


def _figure(name: str, said: str, kind: Kind = Kind.NUMBER, **more: Any) -> Figure:
    """A member of a version's figures."""
    return Figure(name=name, kept=Kept.FIGURES, help=said, kind=kind, **more)


def _of_each_level(name: str, said: str, kind: Kind = Kind.NUMBER, **more: Any) -> list[Figure]:
    """The same of testers, sessions and sets; what can be missing is so level by level."""
    part = more.pop("part", "")
    return [
        _figure(name.format(level), f"{said} {between}", kind, part=part.format(level), **more)
        for level, between in (
            ("tester", "between testers"),
            ("session", "between sessions of a tester"),
            ("set", "between sets of a session"),
        )
    ]


FIGURES = (
    _figure("k", "sets pooled", Kind.WHOLE),
    _figure("testers", "testers pooled", Kind.WHOLE),
    _figure("sessions", "sessions pooled", Kind.WHOLE),
    _figure("mu", "pooled log ratio", scale=LOG, in_open_data=True, form=Form.EXP),
    _figure("se_model", "standard error of mu by the model", scale=LOG),
    _figure(
        "se_robust",
        "standard error of mu, cluster robust (CR2)",
        scale=LOG,
        part="interval",
        in_open_data=True,
    ),
    _figure(
        "df_satterthwaite",
        "Satterthwaite's degrees of freedom of se_robust",
        part="interval",
        in_open_data=True,
        form=Form.DECIMAL,
    ),
    _figure("ci", "the 95 percent interval of mu", Kind.ENDS, scale=LOG, part="interval"),
    *_of_each_level(
        "tau2_{}",
        "variance",
        scale=LOG,
        in_open_data=True,
        form=Form.SD,
        label=_("τ, by level"),
        anchor="tau",
        explained=_(
            "The standard deviation of efficiency between testers, between sessions "
            "of one tester, and between sets in one session, in percent of the "
            "value. If τ between testers is 5%, two testers in three lie within 5% "
            "of the pool. Its own interval (by profile likelihood) is wide while "
            "there are few testers, and too narrow where one of them stands far apart; "
            "the wider one allows for that."
        ),
    ),
    *_of_each_level(
        "tau2_{}_interval",
        "95 percent profile interval of the variance",
        Kind.PAIR,
        scale=LOG,
        part="tau2_{}",
        form=Form.SD,
    ),
    _figure(
        "tau2_tester_robust_interval",
        "95 percent interval of the variance between testers that allows for a tester who stands "
        "apart; the profile interval where no more stand apart than normal effects have it",
        Kind.PAIR,
        scale=LOG,
        part="tau2_tester",
        form=Form.SD,
        since=2,
        anchor="tau",
    ),
    _figure("fitted", "levels whose variance was estimated", Kind.LIST),
    _figure("at_boundary", "those of them whose estimate is zero", Kind.LIST),
    _figure("restricted_loglik", "restricted log likelihood"),
    *_of_each_level(
        "I2_{}",
        "share of the variation that is",
        unit=FRACTION,
        part="heterogeneity",
        form=Form.SHARE,
    ),
    _figure(
        "I2_total",
        "share of the variation that is not sampling error",
        unit=FRACTION,
        part="heterogeneity",
        form=Form.SHARE,
        says=Sentence(
            _("%(I2_total)s of the variation between sets is real, not chance in the pulls."),
            _("I² %(I2_total)s (tester %(I2_tester)s, session %(I2_session)s, set %(I2_set)s)"),
        ),
        label=_("I²"),
        anchor="i2",
        explained=_(
            "The share of the variation between sets that chance in the pulls does "
            "not explain. It also grows with more careful pulling: 90% of very "
            "little is still very little, so read it together with τ."
        ),
    ),
    _figure(
        "Q",
        "Cochran's Q",
        in_open_data=True,
        form=Form.DECIMAL,
        label=_("Q"),
        anchor="q",
        explained=_(
            "A test of whether all sets could share one true value (Cochran). A "
            "small p suggests that they don't. With few sets it detects little; a "
            "large p does not prove that they agree."
        ),
    ),
    _figure("Q_df", "degrees of freedom of Q", in_open_data=True, form=Form.WHOLE),
    _figure("Q_p", "p value of Q", form=Form.P),
    _figure("H2", "variance of the sets over that of sampling alone", part="heterogeneity"),
    _figure(
        "typical_sampling_variance",
        "typical sampling variance of a set",
        scale=LOG,
        part="heterogeneity",
    ),
    _figure("H2_interval", "95 percent interval of H2", Kind.PAIR, part="total"),
    *_of_each_level(
        "I2_{}_interval",
        "95 percent interval of the share",
        Kind.PAIR,
        unit=FRACTION,
        part="tau2_{}",
    ),
    _figure(
        "I2_total_interval",
        "95 percent interval of I2_total",
        Kind.PAIR,
        unit=FRACTION,
        part="total",
    ),
    _figure(
        "prediction",
        "the 95 percent prediction interval of a new tester's next set",
        Kind.ENDS,
        scale=LOG,
        part="prediction",
    ),
    _figure("prediction_df", "degrees of freedom of prediction_sd", form=Form.WHOLE),
    _figure(
        "prediction_sd",
        "half the prediction interval over Student's t on prediction_df",
        scale=LOG,
        part="prediction",
    ),
    _figure(
        "tester_effects",
        "each tester's distance from mu, shrunken",
        Kind.BY_TESTER,
        scale=LOG,
        anchor="shrunken",
        members={
            "tester": "the tester",
            "effect": "distance from mu, shrunken by how uncertain it is",
            "effect_se": "standard error of prediction of effect",
            "value": "mu and effect together",
            "value_se": "standard error of prediction of value",
        },
    ),
    _figure(
        "leave_one_out",
        "the pool without each tester; null where the rest would be too few",
        Kind.BY_TESTER,
        scale=LOG,
        part="leave_one_out",
        anchor="left-out",
        members={
            "tester": "the tester left out",
            "mu": "pooled log ratio of the others",
            "se_model": "its standard error by the model",
            "tau2_tester": "variance between the others",
            "tau2_session": "variance between their sessions",
            "tau2_set": "variance between sets of their sessions",
        },
    ),
    _figure(
        "crossed",
        "what line_product and club_round add to the scatter: levels, variance (tau2), its 95 "
        "percent profile interval, share (I2); each only where three and more have several testers "
        "each, and then interval and prediction are for another product of the kind, or spools of "
        "another round, as well",
        Kind.OBJECT,
        scale=LOG,
        always=False,
        since=2,
        anchor="products",
    ),
    _figure(
        "not_estimable",
        "why parts of the pool could not be computed, by part; only where one could not",
        Kind.OBJECT,
        always=False,
    ),
)
