from django.db import migrations

from rigs.kept_rows import KeepRows

SPOOL = "~ '^[0-9]+( [0-9a-f]{8})?$'"
STATES = {
    'received': ['normalised', 'held', 'withdrawn'],
    'normalised': ['pooled', 'held', 'rejected', 'withdrawn'],
    'pooled': ['held', 'rejected', 'withdrawn'],
    'held': ['released', 'rejected', 'withdrawn'],
    'released': ['held', 'rejected', 'withdrawn'],
    'rejected': ['released', 'withdrawn'],
}


class Migration(migrations.Migration):
    """Columns that were added to kept tables may change."""

    atomic = False

    dependencies = [
        ('results', '0034_units_that_were_meant'),
    ]

    operations = [
        KeepRows(
            'pullset',
            may_change=['not_normalised', 'judged_log_ratio'],
            blanked={
                'label': "~ '^set [0-9]+( [0-9a-f]{8})?$'",
                'main_spool': SPOOL,
                'leader_spool': SPOOL,
                'tyer': "= 'somebody else'",
                'note': "= ''",
            },
            steps={'state': STATES},
        ),
        KeepRows(
            'notice',
            may_change=['read_at', 'about', 'waiting_id', 'pull_set_id'],
            blanked={'text': "= ''"},
        ),
        KeepRows(
            'checkresult',
            may_change=['meant_unit'],
            blanked={'applies_to': "= ''", 'sentence': "= ''"},
        ),
    ]
