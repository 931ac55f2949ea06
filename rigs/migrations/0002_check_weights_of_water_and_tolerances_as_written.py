"""What was written of a check weight's tolerance, and water measured by volume."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("rigs", "0001_initial")]

    operations = [
        migrations.AddField(
            model_name="calibrationreading",
            name="tolerance_written",
            field=models.CharField(blank=True, db_default="", max_length=40),
        ),
        migrations.AddField(
            model_name="calibrationreading",
            name="volume_m3",
            field=models.FloatField(blank=True, help_text="of water by volume", null=True),
        ),
        migrations.AddField(
            model_name="calibrationreading",
            name="temperature_C",
            field=models.FloatField(blank=True, help_text="of the water", null=True),
        ),
    ]
