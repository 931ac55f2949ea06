from django.db import migrations

from rigs.kept_rows import KeepTable

KEPT = [
    'auditlink',
    'baseline',
    'checkresult',
    'erasure',
    'message',
    'notice',
    'pool',
    'poolmembership',
    'poolversion',
    'pull',
    'pullset',
    'release',
    'releasepart',
    'report',
    'screening',
    'session',
    'statechange',
    'upload',
]


class Migration(migrations.Migration):
    """Each statement by itself, so that no two tables are locked at once."""

    atomic = False

    dependencies = [
        ('results', '0035_what_was_added_to_history'),
    ]

    operations = [KeepTable(name) for name in KEPT]
