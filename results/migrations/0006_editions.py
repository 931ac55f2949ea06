"""Marks that change with every change of what readers are shown."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("results", "0005_open_data_and_snapshots")]

    operations = [
        migrations.CreateModel(
            name="Edition",
            fields=[
                (
                    "subject",
                    models.CharField(
                        choices=[("pools", "Pools"), ("names", "Names")],
                        max_length=20,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("mark", models.CharField(max_length=32)),
            ],
            options={"ordering": ["subject"]},
        ),
    ]
