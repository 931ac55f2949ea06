from django.db import migrations

from results.migrations._within import bring_within


class Migration(migrations.Migration):

    dependencies = [
        ('results', '0019_resolutions_corrected_since'),
        ('rigs', '0008_all_rows_are_within_bounds'),
    ]

    operations = [
        migrations.RunPython(bring_within, migrations.RunPython.noop, elidable=False),
    ]
