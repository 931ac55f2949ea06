from django.db import migrations

from rigs.held_rows import HoldAllRows


class Migration(migrations.Migration):

    atomic = False

    dependencies = [
        ('results', '0047_what_traces_show_of_an_efficiency'),
    ]

    operations = [
        HoldAllRows('normalisedset', 'what_traces_show_is_finite'),
    ]
