import django.db.models.deletion
from django.db import migrations, models

from rigs.kept_rows import KeepRows, KeepTable


class Migration(migrations.Migration):
    """A month of traces stays; what is withdrawn gives it another edition."""

    dependencies = [
        ('results', '0042_all_rounds_are_in_order'),
    ]

    operations = [
        migrations.CreateModel(
            name='TraceMonth',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('month', models.DateField(help_text='first day of the month', unique=True)),
                ('edition', models.PositiveIntegerField(default=1)),
                ('written_at', models.DateTimeField(help_text='when this edition was written')),
                ('traces', models.PositiveIntegerField()),
                ('samples', models.PositiveBigIntegerField(help_text='of all traces in it')),
                ('taken_out', models.JSONField(default=list, help_text='pulls whose traces were taken out')),
                ('bytes', models.PositiveBigIntegerField()),
                ('sha256', models.CharField(max_length=64)),
            ],
            options={
                'ordering': ['month'],
            },
        ),
        migrations.CreateModel(
            name='ArchivedTrace',
            fields=[
                ('trace', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='archived', serialize=False, to='results.trace')),
                ('month', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='archived', to='results.tracemonth')),
            ],
            options={
                'ordering': ['trace_id'],
            },
        ),
        migrations.CreateModel(
            name='TraceMonthPart',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('edition', models.PositiveIntegerField()),
                ('number', models.PositiveIntegerField()),
                ('body', models.BinaryField()),
                ('month', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='results.tracemonth')),
            ],
            options={
                'ordering': ['month_id', 'edition', 'number'],
                'constraints': [models.UniqueConstraint(fields=('month', 'edition', 'number'), name='trace_month_part_is_unique')],
            },
        ),
        KeepRows(
            'tracemonth',
            may_change=['edition', 'written_at', 'traces', 'samples', 'taken_out', 'bytes', 'sha256'],
        ),
        KeepTable('tracemonth'),
    ]
