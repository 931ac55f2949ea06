"""How each figure is computed, in one sentence, by the figure's path."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

COUNTED = _("Counted over the sets that count.")
MEDIAN = _("The median over the sets that say it, without weights.")
FIT = _(
    "By restricted maximum likelihood of a normal model of log ratios with effects of tester, "
    "session and set, and of line product and round where these can be estimated."
)
PROFILE = _("Where twice the profiled restricted log likelihood falls by chi-square's 3.84.")
I2 = _("The variance component over the sum of all of them and the typical sampling variance.")
I2_ENDS = _("From the ends of the interval of the variance, the other components as estimated.")
COCHRAN = _("The weighted sum of squares about the fixed-effect mean, by sampling errors alone.")
CR2 = _(
    "Cluster robust by tester with the bias-reduced correction CR2, and Student's t on "
    "Satterthwaite's degrees of freedom; where line products or rounds are fitted, an average over "
    "how large their variance may be."
)
PREDICTION = _(
    "Student's t, or with few testers a mixture over what their variance may be, of the mean's "
    "error and all variance components together."
)

METHODS = {
    **dict.fromkeys(("testers", "sessions", "sets", "pulls"), COUNTED),
    "no_figure": _("What pooling came to instead of a figure."),
    "efficiency": _("The exponential of the pooled log ratio, a geometric mean over testers."),
    "interval": CR2,
    "prediction": PREDICTION,
    "i2": I2,
    "cv_join": _("The root of the variances within sets, averaged by their degrees of freedom."),
    "cv_baseline": _("The root of the variances within baselines, averaged by degrees of freedom."),
    "held_by_nine": _(
        "A lower bound, 95 percent sure, of the tenth percentile of new testers' single pulls, the "
        "lower of lognormal and Weibull ones."
    ),
    "time_to_tie_s": MEDIAN,
    "bulk": MEDIAN,
    **{f"figures.{name}": COUNTED for name in ("k", "testers", "sessions")},
    "figures.mu": FIT,
    "figures.se_model": _("From the information on mu at the estimated variance components."),
    "figures.se_robust": CR2,
    "figures.df_satterthwaite": _(
        "Satterthwaite's approximation to the moments of the CR2 variance."
    ),
    "figures.ci": CR2,
    **{f"figures.tau2_{level}": FIT for level in ("tester", "session", "set")},
    **{f"figures.tau2_{level}_interval": PROFILE for level in ("tester", "session", "set")},
    "figures.tau2_tester_robust_interval": _(
        "The profile interval with a fall widened by the kurtosis of the testers' means, as "
        "Bonett does with a variance."
    ),
    "figures.fitted": _("The levels of which the data have several units inside the one above."),
    "figures.at_boundary": _(
        "Where the likelihood falls with the component's first step above zero."
    ),
    "figures.restricted_loglik": _("At its maximum, with all constants."),
    **{f"figures.I2_{level}": I2 for level in ("tester", "session", "set", "total")},
    "figures.Q": COCHRAN,
    "figures.Q_df": _("The sets less one."),
    "figures.Q_p": _("The upper tail of chi-square at Q."),
    "figures.H2": _("One and the variance components over the typical sampling variance."),
    "figures.typical_sampling_variance": _(
        "The degrees of freedom over the trace of the projection by sampling errors alone."
    ),
    "figures.H2_interval": _("From the ends of the interval of all variance components together."),
    **{f"figures.I2_{level}_interval": I2_ENDS for level in ("tester", "session", "set")},
    "figures.I2_total_interval": _("From the ends of the interval of all components together."),
    "figures.prediction": PREDICTION,
    "figures.prediction_df": _("The testers less one, or fewer by the mixture averaged over."),
    "figures.prediction_sd": PREDICTION,
    "figures.tester_effects": _("The best linear unbiased predictor at the estimated components."),
    "figures.leave_one_out": _("The pool estimated again without each tester, components and all."),
    "figures.crossed": FIT,
    "figures.not_estimable": _("What the computation of the part came to instead of a figure."),
    **{f"findings.{name}": COUNTED for name in ("endings", "line_products", "club_rounds")},
    "findings.told": COUNTED,
    "findings.pulls": _("Each pull over the straight line of its session, counted by class."),
    "findings.straight": _("Each straight pull over the mean of its baseline, counted by class."),
    "findings.one_stage": _(
        "By restricted likelihood of one model on all pulls with those that are only 'at least' as "
        "such, lognormal and Weibull joins weighted by their likelihoods, the join itself with "
        "Jeffreys' prior, and errors by tester."
    ),
    "findings.own_strengths": _(
        "The median and the central 95 percent of a distribution by Jeffreys' prior of the level, "
        "the scatter about the pool's with a standard deviation of 20 percent between sets."
    ),
    "findings.groups_left_out": _(
        "The pool's mean without each group, at the variance components of the whole pool."
    ),
    "findings.median_of_testers": _(
        "The median of the testers' means, between order statistics by the binomial distribution."
    ),
    "findings.heavy_tails": _(
        "Testers' effects from t on 4 degrees of freedom, as normal ones of gamma precision, "
        "averaged over their scale with a half-t prior."
    ),
    "findings.trend": _("Meta-regression on the date alone, with CR2 errors by tester."),
    "findings.worst": _("The lowest pull over the straight line of its session."),
    "findings.moderators": _(
        "Restricted likelihood with all covariates in one model, CR2 errors by tester and p values "
        "adjusted by Holm."
    ),
}
