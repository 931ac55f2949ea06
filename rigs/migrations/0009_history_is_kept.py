from django.db import migrations, models

from rigs.held_rows import HoldNewRows
from rigs.kept_rows import HoldNewRowsBySQL, KeepRows, RefuseFunction


class Migration(migrations.Migration):
    """Each statement by itself, so that no two tables are locked at once."""

    atomic = False

    dependencies = [
        ('rigs', '0008_all_rows_are_within_bounds'),
    ]

    operations = [
        HoldNewRows(
            model_name='calibration',
            constraint=models.CheckConstraint(condition=models.Q(('local_gravity__gte', -1e+300), ('local_gravity__lte', 1e+300), ('gain__gte', -1e+300), ('gain__lte', 1e+300), ('offset_N__gte', -1e+300), ('offset_N__lte', 1e+300), ('u_gain__gte', -1e+300), ('u_gain__lte', 1e+300), ('u_offset_N__gte', -1e+300), ('u_offset_N__lte', 1e+300), ('correlation__gte', -1e+300), ('correlation__lte', 1e+300), ('residual_sd_N__gte', -1e+300), ('residual_sd_N__lte', 1e+300), ('lowest_N__gte', -1e+300), ('lowest_N__lte', 1e+300), ('highest_N__gte', -1e+300), ('highest_N__lte', 1e+300)), name='calibration_is_finite'),
        ),
        HoldNewRowsBySQL(
            'calibration',
            'calibration_day_has_been',
            "CHECK (made_on <= (created_at AT TIME ZONE 'UTC')::date + 1)",
        ),
        HoldNewRowsBySQL(
            'rigrevision',
            'revision_day_has_been',
            # Corrections may name a later day than that on which it was entered.
            "CHECK (made_on < '2200-01-01' AND created_at < '2200-01-01')",
        ),
        HoldNewRowsBySQL(
            'calibrationreading',
            'calibration_reading_is_finite',
            'CHECK ("force_N" BETWEEN -1e300 AND 1e300 '
            'AND "u_mass_kg" BETWEEN -1e300 AND 1e300)',
        ),
        RefuseFunction('calibration'),
        KeepRows(
            'calibration',
            steps={'standing': {'current': ['replaced', 'voided']}},
            blanked={'note': "= ''", 'local_gravity': '= 9.80665'},
        ),
        KeepRows('calibrationreading'),
        KeepRows('calibrationchange', blanked={'reason': "= ''"}),
        KeepRows('revisionchange', blanked={'reason': "= ''", 'was': "= '{}'"}),
        KeepRows(
            'suspension',
            may_change=['lifted_by_id', 'lifted_reason', 'lifted_at'],
            blanked={'reason': "= ''"},
        ),
    ]
