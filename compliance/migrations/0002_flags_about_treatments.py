"""Flags may say that a treatment was against its label, bait lies too long, nobody answered."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("compliance", "0001_initial")]

    operations = [
        migrations.AlterField(
            model_name="flag",
            name="kind",
            field=models.CharField(
                choices=[
                    ("visit_overdue", "Visit overdue"),
                    ("visit_unbooked", "Visit due and not booked"),
                    ("call_out_late", "Call-out past its deadline"),
                    ("action_overdue", "Action past its day"),
                    ("decision_stale", "Decision long awaited"),
                    ("monitor_unread", "Monitor not read"),
                    ("competence_expiring", "Competence about to lapse"),
                    ("document_expiring", "Document about to expire"),
                    ("not_reached_again", "Not reached again and again"),
                    ("to_place", "Record to place"),
                    ("against_label", "Treatment against the label"),
                    ("bait_review", "Bait past its review day"),
                    ("follow_up_open", "Follow-up not answered"),
                    ("record_late", "Record incomplete or late"),
                    ("job_failed", "Job gave up"),
                ],
                max_length=24,
            ),
        ),
    ]
