from django.db import migrations

from results.migrations._within import bring_within
from rigs.held_rows import HoldAllRows


class Migration(migrations.Migration):
    """What code of before wrote while the checks were added is brought within them first."""

    dependencies = [
        ('results', '0021_values_are_within_bounds'),
    ]

    operations = [
        migrations.RunPython(bring_within, migrations.RunPython.noop, elidable=False),
        HoldAllRows('pull', 'pull_is_within_bounds'),
        HoldAllRows('pullset', 'pull_set_is_within_bounds'),
        HoldAllRows('session', 'session_is_within_bounds'),
    ]
