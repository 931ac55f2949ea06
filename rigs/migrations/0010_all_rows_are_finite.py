from django.db import migrations

from rigs.held_rows import HoldAllRows


class Migration(migrations.Migration):

    dependencies = [
        ('rigs', '0009_history_is_kept'),
    ]

    operations = [
        HoldAllRows('calibration', 'calibration_is_finite'),
        HoldAllRows('calibration', 'calibration_day_has_been'),
        HoldAllRows('rigrevision', 'revision_day_has_been'),
        HoldAllRows('calibrationreading', 'calibration_reading_is_finite'),
    ]
