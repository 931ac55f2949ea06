from django.db import migrations

from rigs.kept_rows import KeepTable

KEPT = [
    'calibration',
    'calibrationchange',
    'calibrationreading',
    'revisionchange',
    'suspension',
]


class Migration(migrations.Migration):
    """Each statement by itself, so that no two tables are locked at once."""

    atomic = False

    dependencies = [
        ('rigs', '0010_all_rows_are_finite'),
    ]

    operations = [KeepTable(name) for name in KEPT]
