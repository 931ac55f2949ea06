from django.db import migrations

from rigs.kept_rows import KeepRows, KeepRowsWhere, RefuseRows

CLOSED = """EXISTS (
    SELECT 1 FROM results_round held JOIN results_roundlot lot ON lot.round_id = held.id
    WHERE lot.id = this.lot_id AND held.state = 'closed'
)"""


class Migration(migrations.Migration):
    """Whether a spool stayed the same is pulled once its round is over, and so after its close.

    The last day for results of an open round can be moved to a later one.
    """

    dependencies = [
        ('results', '0048_all_of_what_traces_show_is_finite'),
    ]

    operations = [
        KeepRowsWhere(
            'lotpull', where=f"NOT (TG_OP = 'INSERT' AND this.occasion = 'after') AND {CLOSED}"
        ),
        KeepRows(
            'round',
            may_change=['results_by'],
            blanked={
                'title': "~ '^round [0-9]+( [0-9a-f]{8})?$'",
                'closed_at': 'IS NOT NULL AND OLD.closed_at IS NULL',
            },
            steps={'state': {'open': ['closed']}},
            once="OLD.state <> 'being set up'",
        ),
        RefuseRows(
            'round',
            'round_last_day_moves_on_while_open',
            columns=['results_by'],
            where="TG_OP = 'UPDATE' AND NEW.results_by IS DISTINCT FROM OLD.results_by AND "
            "(OLD.state = 'closed' OR OLD.state = 'open' AND NEW.results_by < OLD.results_by)",
        ),
    ]
