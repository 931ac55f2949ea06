import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models

from rigs.kept_rows import KeepRows, KeepTable


def write_down(apps, schema_editor):
    """What is known of rounds from before: that they were opened and closed, and their reports."""
    RoundEvent = apps.get_model('results', 'RoundEvent')
    Round = apps.get_model('results', 'Round')
    RoundReport = apps.get_model('results', 'RoundReport')
    known = []
    for of in Round.objects.exclude(opened_at=None):
        known.append((of.opened_at, of.pk, 'opened', of.results_by, None))
        if of.closed_at is not None:
            known.append((of.closed_at, of.pk, 'closed', None, None))
    made = RoundReport.objects.filter(state='made')
    for at, of, number in made.values_list('made_at', 'round_id', 'number'):
        known.append((at, of, 'reported', None, number))
    RoundEvent.objects.bulk_create(
        RoundEvent(at=at, round_id=of, what=what, results_by=day, version=version)
        for at, of, what, day, version in sorted(known, key=lambda each: each[0])
    )


class Migration(migrations.Migration):
    """A round can be followed: what happened in it that everyone may read is written down."""

    dependencies = [
        ('results', '0049_spools_are_pulled_after_the_close'),
    ]

    operations = [
        migrations.CreateModel(
            name='RoundEvent',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('what', models.CharField(choices=[('opened', 'Opened'), ('last day moved', 'Moved'), ('closed', 'Closed'), ('reported', 'Reported')], max_length=20)),
                ('at', models.DateTimeField(default=django.utils.timezone.now)),
                ('results_by', models.DateField(blank=True, null=True)),
                ('was', models.DateField(blank=True, null=True)),
                ('version', models.PositiveIntegerField(blank=True, null=True)),
                ('round', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='events', to='results.round')),
            ],
            options={
                'ordering': ['-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('results_by__isnull', False), ('version', None), ('was', None), ('what', 'opened')), models.Q(('results_by__gt', models.F('was')), ('version', None), ('what', 'last day moved')), models.Q(('results_by', None), ('version', None), ('was', None), ('what', 'closed')), models.Q(('results_by', None), ('version__isnull', False), ('was', None), ('what', 'reported')), _connector='OR'), name='round_event_says_what_it_is')],
            },
        ),
        migrations.AddField(
            model_name='mailing',
            name='rounds_through',
            field=models.BigIntegerField(db_default=0, default=0, help_text='the last event of a round that it has covered'),
        ),
        migrations.AlterField(
            model_name='follow',
            name='subject',
            field=models.CharField(choices=[('everything', 'Everything'), ('pool', 'Pool'), ('join', 'Join'), ('line pair', 'Line Pair'), ('tester', 'Tester'), ('round', 'Round')], max_length=12),
        ),
        migrations.RunPython(write_down, migrations.RunPython.noop),
        KeepRows('roundevent'),
        KeepTable('roundevent'),
    ]
