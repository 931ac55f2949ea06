from django.db import migrations, models

from rigs.held_rows import HoldNewRows


class Migration(migrations.Migration):

    dependencies = [
        ('results', '0046_the_round_of_a_notice_is_kept'),
    ]

    operations = [
        migrations.AddField(
            model_name='normalisedset',
            name='missed_peak_log',
            field=models.FloatField(help_text='what peaks between two samples move log_ratio by; empty without traces', null=True),
        ),
        migrations.AddField(
            model_name='normalisedset',
            name='zero_of_pulls_log',
            field=models.FloatField(help_text='what zeros that traces show move log_ratio by; empty without traces', null=True),
        ),
        HoldNewRows(
            model_name='normalisedset',
            constraint=models.CheckConstraint(condition=models.Q(('zero_of_pulls_log__gte', -1e+300), ('zero_of_pulls_log__lte', 1e+300), ('missed_peak_log__gte', -1e+300), ('missed_peak_log__lte', 1e+300)), name='what_traces_show_is_finite'),
        ),
    ]
