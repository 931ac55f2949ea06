"""What a version of a pool keeps in columns of its own: counts, and what readers sort by."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from results.models.declared.figure import Figure, Form, Kept, Kind, Sentence

FRACTION = "a fraction"

COUNTS = tuple(
    Figure(name=name, kept=Kept.COLUMN, help=said, kind=Kind.WHOLE, stays=True, in_open_data=True)
    for name, said in (
        ("testers", "testers who pulled it"),
        ("sessions", "sessions with straight line of their own"),
        ("sets", "sets that count"),
        ("pulls", "pulls that say something of the strength"),
    )
)
COLUMNS = (
    Figure(
        name="efficiency",
        kept=Kept.COLUMN,
        help="pooled efficiency: the exponential of mu",
        unit=FRACTION,
        of="mu",
        is_exponential=True,
        in_open_data=True,
        form=Form.PERCENT,
        says=Sentence(
            _("Over testers it keeps %(efficiency)s of the straight line (geometric mean)."),
            _("Pooled efficiency, three-level restricted likelihood: %(efficiency)s"),
        ),
        anchor="efficiency",
    ),
    Figure(
        name="interval",
        kept=Kept.COLUMN,
        help="the 95 percent interval of the efficiency",
        kind=Kind.ENDS,
        unit=FRACTION,
        of="ci",
        is_exponential=True,
        part="interval",
        in_open_data=True,
        form=Form.PERCENT,
        anchor="interval",
    ),
    Figure(
        name="prediction",
        kept=Kept.COLUMN,
        help="the 95 percent interval to expect a new tester in",
        kind=Kind.ENDS,
        unit=FRACTION,
        of="prediction",
        is_exponential=True,
        part="prediction",
        in_open_data=True,
        form=Form.PERCENT,
        anchor="prediction",
    ),
    Figure(
        name="i2",
        kept=Kept.COLUMN,
        help="share of the variation between sets that is not sampling error",
        unit=FRACTION,
        of="I2_total",
        part="heterogeneity",
        in_open_data=True,
        form=Form.SHARE,
    ),
    Figure(
        name="cv_join",
        kept=Kept.COLUMN,
        help="coefficient of variation within sets, pooled over the sets",
        unit=FRACTION,
        in_open_data=True,
        form=Form.PERCENT,
        says=Sentence(
            _(
                "Within a set, single ties scatter by %(cv_join)s; "
                "straight line by %(cv_baseline)s."
            ),
            _("Pooled coefficient of variation, join and baseline"),
        ),
        anchor="cv",
    ),
    Figure(
        name="cv_baseline",
        kept=Kept.COLUMN,
        help="coefficient of variation of straight line, pooled over the baselines",
        unit=FRACTION,
        in_open_data=True,
        form=Form.PERCENT,
    ),
    Figure(
        name="held_by_nine",
        kept=Kept.COLUMN,
        help="share of straight line that nine new ties in ten hold at least",
        unit=FRACTION,
        in_open_data=True,
        form=Form.PERCENT,
        anchor="worst",
    ),
    Figure(
        name="time_to_tie_s",
        kept=Kept.COLUMN,
        help="median time to tie one, over the sets that say it",
        unit="in seconds",
        form=Form.WHOLE,
        label=_("Time to tie"),
        anchor="bulk",
    ),
    Figure(
        name="bulk",
        kept=Kept.COLUMN,
        help="diameter of the join over the thicker line's, median over the sets that say it",
        form=Form.DECIMAL,
        label=_("Bulk"),
        anchor="bulk",
    ),
    Figure(
        name="no_figure",
        kept=Kept.COLUMN,
        help="why none is pooled",
        kind=Kind.WORDS,
        stays=True,
        in_open_data=True,
    ),
)
