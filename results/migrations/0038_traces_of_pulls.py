import django.db.models.deletion
from django.db import migrations, models

from rigs.kept_rows import KeepRows, KeepTable


class Migration(migrations.Migration):
    """A trace is kept as it came; erasing an account blanks when it was recorded."""

    dependencies = [
        ('results', '0037_votes_of_readers'),
    ]

    operations = [
        migrations.CreateModel(
            name='Trace',
            fields=[
                ('pull', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='trace', serialize=False, to='results.pull')),
                ('samples', models.BinaryField(help_text='seconds and forces, encoded')),
                ('count', models.PositiveIntegerField(help_text='samples of the trace')),
                ('unit', models.CharField(max_length=10)),
                ('step', models.FloatField(help_text='that its forces were written in, in its unit')),
                ('started_at', models.DateTimeField(blank=True, help_text="moment of second 0 by the logger's clock", null=True)),
                ('peak_N', models.FloatField(help_text='highest sample')),
                ('loading_rate_N_per_s', models.FloatField(help_text='between a tenth and nine tenths of it')),
                ('time_to_break_s', models.FloatField(help_text='from the beginning of the load to the peak')),
                ('slips', models.JSONField(default=list, help_text='falls before a higher peak: second, force before and after in newtons')),
                ('hold', models.JSONField(help_text='the longest time without a rise: second it began, how long it took, force before and after in newtons', null=True)),
                ('stiffening', models.FloatField(help_text='loading rate of the upper half over that of the lower one', null=True)),
                ('zero_before_N', models.FloatField(help_text='reading without load, before', null=True)),
                ('zero_after_N', models.FloatField(help_text='reading without load, after', null=True)),
                ('u_zero_N', models.FloatField(help_text='standard uncertainty of their mean', null=True)),
                ('missed_peak_N', models.FloatField(help_text='by how much the highest sample lies below the peak on average')),
                ('u_missed_peak_N', models.FloatField(help_text='standard uncertainty of that')),
                ('noise_excess_N', models.FloatField(help_text='that noise adds to the highest sample')),
            ],
            options={
                'ordering': ['pull_id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('step__gte', -1e+300), ('step__lte', 1e+300), ('peak_N__gte', -1e+300), ('peak_N__lte', 1e+300), ('loading_rate_N_per_s__gte', -1e+300), ('loading_rate_N_per_s__lte', 1e+300), ('time_to_break_s__gte', -1e+300), ('time_to_break_s__lte', 1e+300), ('zero_before_N__gte', -1e+300), ('zero_before_N__lte', 1e+300), ('zero_after_N__gte', -1e+300), ('zero_after_N__lte', 1e+300), ('u_zero_N__gte', -1e+300), ('u_zero_N__lte', 1e+300), ('missed_peak_N__gte', -1e+300), ('missed_peak_N__lte', 1e+300), ('u_missed_peak_N__gte', -1e+300), ('u_missed_peak_N__lte', 1e+300), ('noise_excess_N__gte', -1e+300), ('noise_excess_N__lte', 1e+300), ('stiffening__gte', -1e+300), ('stiffening__lte', 1e+300), ('step__gt', 0)), name='trace_is_finite')],
            },
        ),
        KeepRows('trace', blanked={'started_at': 'IS NULL'}),
        KeepTable('trace'),
    ]
