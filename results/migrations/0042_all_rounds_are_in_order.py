from django.db import migrations

from rigs.held_rows import HoldAllRows


class Migration(migrations.Migration):
    """Each check by itself: validating reads a table, and locks it against nothing but DDL."""

    atomic = False

    dependencies = [
        ('results', '0041_rounds_are_kept'),
    ]

    operations = [
        HoldAllRows('round', 'round_opens_before_it_closes'),
        HoldAllRows('roundparticipant', 'round_is_entered_before_it_is_left'),
        HoldAllRows('roundreport', 'round_report_names_its_formulae'),
    ]
