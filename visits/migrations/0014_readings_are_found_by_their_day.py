"""The readings of the last weeks can be found without reading those of all years."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("visits", "0013_what_electronic_traps_report")]

    operations = [
        migrations.AddIndex(
            model_name="reading",
            index=models.Index(fields=["read_on"], name="reading_day"),
        ),
    ]
