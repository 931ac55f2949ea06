from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("results", "0012_notices_of_charts_name_the_straight_line"),
    ]

    operations = [
        migrations.AddField(
            model_name="pool",
            name="attempted_at",
            field=models.DateTimeField(
                blank=True,
                editable=False,
                help_text="when the last of them began",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="pool",
            name="failed_at",
            field=models.DateTimeField(
                blank=True,
                help_text="when computing it last failed; empty once it succeeds",
                null=True,
            ),
        ),
        migrations.AlterField(
            model_name="pool",
            name="failures",
            field=models.PositiveIntegerField(
                default=0, help_text="attempts in a row at computing it, none of which succeeded"
            ),
        ),
        migrations.AddField(
            model_name="poolversion",
            name="attempts",
            field=models.PositiveIntegerField(
                db_default=0,
                default=0,
                help_text="at drawing and comparing it, none of which succeeded",
            ),
        ),
        migrations.AddField(
            model_name="stalepool",
            name="takes_down",
            field=models.BooleanField(db_default=False, default=False),
        ),
    ]
