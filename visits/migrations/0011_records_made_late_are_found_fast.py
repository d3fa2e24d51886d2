"""Records that were made after their deadline can be found without reading every one."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("visits", "0010_what_older_records_leave_unsaid")]

    operations = [
        migrations.AddIndex(
            model_name="treatment",
            index=models.Index(
                condition=models.Q(("made_late", True)),
                fields=["started_at", "id"],
                name="treatment_made_late",
            ),
        ),
    ]
