from django.db import migrations

from rigs.migrations._within import bring_within
from rigs.held_rows import HoldAllRows


class Migration(migrations.Migration):
    """What code of before wrote while the checks were added is brought within them first."""

    dependencies = [
        ('rigs', '0007_values_are_within_bounds'),
    ]

    operations = [
        migrations.RunPython(bring_within, migrations.RunPython.noop, elidable=False),
        HoldAllRows('calibration', 'calibration_is_within_bounds'),
        HoldAllRows('calibrationreading', 'calibration_reading_is_within_bounds'),
        HoldAllRows('rigrevision', 'revision_is_within_bounds'),
    ]
