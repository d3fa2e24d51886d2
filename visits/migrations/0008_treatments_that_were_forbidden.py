"""Treatments that the label forbade can be found without reading every one."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("visits", "0007_what_products_are_found_by")]

    operations = [
        migrations.AddField(
            model_name="treatment",
            name="was_forbidden",
            field=models.BooleanField(
                default=False,
                help_text=(
                    "Whether any of what the record shows was forbidden; so that it is found fast."
                ),
            ),
        ),
        migrations.AddIndex(
            model_name="treatment",
            index=models.Index(
                condition=models.Q(("was_forbidden", True)),
                fields=["visit"],
                name="treatment_forbidden",
            ),
        ),
    ]
