from django.db import migrations

from rigs.kept_rows import KeepRows


class Migration(migrations.Migration):
    """What a notice is about was added to it, and is kept like the rest."""

    dependencies = [
        ('results', '0045_a_correction_waits_too'),
    ]

    operations = [
        KeepRows(
            'notice',
            may_change=['read_at', 'about', 'waiting_id', 'pull_set_id'],
            blanked={'text': "= ''"},
        ),
    ]
