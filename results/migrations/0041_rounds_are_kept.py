from django.db import migrations, models

from rigs.held_rows import HoldNewRows
from rigs.kept_rows import KeepRows, KeepRowsWhere, KeepTable, RefuseRows

FIRST_FORMULAE = 2
"""Those that every report of a round was computed by until they were kept with it."""
ROUND_IS = 'EXISTS (SELECT 1 FROM results_round held WHERE held.id = {} AND {})'
UNDER_WAY = ROUND_IS.format('this.round_id', "held.state <> 'being set up'")
CLOSED = ROUND_IS.format(
    '(SELECT lot.round_id FROM results_roundlot lot WHERE lot.id = this.lot_id)',
    "held.state = 'closed'",
)
PART = 'SELECT 1 FROM results_roundparticipant part JOIN results_round held ON held.id = part.round_id'
TABLES = [
    'round',
    'roundlot',
    'lotpull',
    'roundsample',
    'roundparticipant',
    'roundsight',
    'sealedsession',
    'roundspecimen',
    'roundset',
    'roundreport',
]


def name_the_formulae(apps, schema_editor):
    made = apps.get_model('results', 'RoundReport').objects.filter(state='made', formulae=None)
    made.update(formulae=FIRST_FORMULAE)


class Migration(migrations.Migration):
    """Each statement by itself, so that no two tables are locked at once."""

    atomic = False

    dependencies = [
        ('results', '0040_mails_that_were_refused'),
    ]

    operations = [
        migrations.RunPython(name_the_formulae, migrations.RunPython.noop),
        HoldNewRows(
            model_name='round',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('opened_at', None), ('opened_at__gte', models.F('made_at')), _connector='OR'), models.Q(('closed_at', None), ('closed_at__gte', models.F('opened_at')), _connector='OR')), name='round_opens_before_it_closes'),
        ),
        HoldNewRows(
            model_name='roundparticipant',
            constraint=models.CheckConstraint(condition=models.Q(('withdrawn_at', None), ('withdrawn_at__gte', models.F('entered_at')), _connector='OR'), name='round_is_entered_before_it_is_left'),
        ),
        HoldNewRows(
            model_name='roundreport',
            constraint=models.CheckConstraint(condition=models.Q(('formulae__isnull', False), models.Q(('state', 'made'), _negated=True), _connector='OR'), name='round_report_names_its_formulae'),
        ),
        KeepRows(
            'round',
            blanked={
                'title': "~ '^round [0-9]+( [0-9a-f]{8})?$'",
                'closed_at': 'IS NOT NULL AND OLD.closed_at IS NULL',
            },
            steps={'state': {'open': ['closed']}},
            once="OLD.state <> 'being set up'",
        ),
        KeepRowsWhere(
            'roundlot', where=UNDER_WAY, blanked={'spool': "~ '^spool [0-9]+( [0-9a-f]{8})?$'"}
        ),
        KeepRowsWhere('roundsample', where=UNDER_WAY, blanked={'specification': "= ''"}),
        KeepRowsWhere('lotpull', where=CLOSED),
        KeepRows(
            'roundparticipant',
            may_change=['withdrawn_at', 'late'],
            blanked={'number': 'IS NOT NULL AND OLD.number IS NULL'},
        ),
        KeepRows('roundsight'),
        KeepRows(
            'sealedsession',
            may_change=['problem'],
            blanked={
                'body': "= ''",
                'idempotency_key': 'IS NULL',
                'session_id': 'IS NOT NULL AND OLD.session_id IS NULL',
            },
            steps={'state': {'sealed': ['withdrawn', 'stored', 'stopped']}},
        ),
        KeepRows('roundspecimen', may_change=['sent_in_id']),
        KeepRows('roundset'),
        KeepRows('roundreport', once="OLD.state = 'made'"),
        RefuseRows(
            'roundparticipant',
            'round_is_entered_before_its_close',
            columns=['round_id'],
            where="TG_OP = 'INSERT' AND "
            + ROUND_IS.format('NEW.round_id', "held.state = 'closed'"),
        ),
        RefuseRows(
            'sealedsession',
            'sealed_session_is_what_was_sent',
            columns=['participant_id', 'body', 'sha256', 'session_id'],
            where=f"""NEW.body <> '' AND NEW.sha256 <> encode(sha256(NEW.body), 'hex')
    OR TG_OP = 'INSERT' AND NOT EXISTS (
        {PART}
        WHERE part.id = NEW.participant_id AND held.state = 'open'
    )
    OR NEW.session_id IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM results_session stored
        JOIN results_roundparticipant part ON part.contributor_id = stored.contributor_id
        WHERE stored.id = NEW.session_id AND part.id = NEW.participant_id
    )""",
        ),
        RefuseRows(
            'roundspecimen',
            'round_specimen_is_of_one_round',
            columns=['participant_id', 'sample_id', 'sent_in_id'],
            where=f"""(TG_OP = 'INSERT' OR OLD.sent_in_id IS DISTINCT FROM NEW.sent_in_id)
    AND NOT EXISTS (
        {PART}
        JOIN results_roundsample sample ON sample.round_id = held.id
        WHERE part.id = NEW.participant_id AND sample.id = NEW.sample_id AND held.state = 'open'
    )
    OR NEW.sent_in_id IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM results_sealedsession sealed
        WHERE sealed.id = NEW.sent_in_id AND sealed.participant_id = NEW.participant_id
    )""",
        ),
        RefuseRows(
            'roundset',
            'round_set_is_of_its_sealed_session',
            columns=['pull_set_id', 'specimen_id'],
            where="""NOT EXISTS (
        SELECT 1 FROM results_pullset pulled
        JOIN results_sealedsession sealed ON sealed.session_id = pulled.session_id
        JOIN results_roundspecimen specimen ON specimen.sent_in_id = sealed.id
        WHERE pulled.id = NEW.pull_set_id AND specimen.id = NEW.specimen_id
    )""",
            deferred=True,
        ),
        RefuseRows(
            'roundreport',
            'round_report_is_of_a_closed_round',
            columns=['round_id'],
            where='NOT ' + ROUND_IS.format('NEW.round_id', "held.state = 'closed'"),
        ),
        *(KeepTable(name) for name in TABLES),
    ]
