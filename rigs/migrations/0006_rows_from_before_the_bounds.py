from django.db import migrations

from rigs.migrations._within import bring_within


class Migration(migrations.Migration):

    dependencies = [
        ('rigs', '0005_corrections_of_rigs'),
    ]

    operations = [
        migrations.RunPython(bring_within, migrations.RunPython.noop, elidable=False),
    ]
