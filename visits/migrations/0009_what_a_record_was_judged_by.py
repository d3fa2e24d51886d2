"""What the rules made of a record when its visit closed, and what the register is narrowed by."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("visits", "0008_treatments_that_were_forbidden")]

    operations = [
        migrations.AddField(
            model_name="treatment",
            name="received_at",
            field=models.DateTimeField(
                blank=True, help_text="When the record first reached us.", null=True
            ),
        ),
        migrations.AddField(
            model_name="treatment",
            name="rule_set",
            field=models.CharField(
                blank=True,
                default="",
                help_text="The rules by which the record was judged at closing.",
                max_length=40,
            ),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="treatment",
            name="unsaid",
            field=models.JSONField(
                blank=True,
                default=list,
                help_text="What those rules ask for and it leaves out.",
            ),
        ),
        migrations.AddField(
            model_name="treatment",
            name="is_incomplete",
            field=models.BooleanField(
                default=False, help_text="Whether anything is unsaid; so that it is found fast."
            ),
        ),
        migrations.AddField(
            model_name="treatment",
            name="made_late",
            field=models.BooleanField(
                default=False,
                help_text="Whether it reached us after the deadline of those rules.",
            ),
        ),
        migrations.AddField(
            model_name="treatment",
            name="keep_until",
            field=models.DateField(
                blank=True,
                help_text="The last day on which those rules ask to have it.",
                null=True,
            ),
        ),
        migrations.AddIndex(
            model_name="treatment",
            index=models.Index(fields=["product", "started_at", "id"], name="treatment_of_product"),
        ),
        migrations.AddIndex(
            model_name="treatment",
            index=models.Index(fields=["target", "started_at", "id"], name="treatment_of_pest"),
        ),
        migrations.AddIndex(
            model_name="treatment",
            index=models.Index(
                condition=models.Q(("is_incomplete", True)),
                fields=["started_at", "id"],
                name="treatment_incomplete",
            ),
        ),
        migrations.AddIndex(
            model_name="treatment",
            index=models.Index(
                condition=models.Q(("was_forbidden", True)),
                fields=["started_at", "id"],
                name="treatment_forbidden_at",
            ),
        ),
    ]
