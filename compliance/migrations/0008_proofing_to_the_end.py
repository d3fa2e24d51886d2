from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import accounts.ids


class Migration(migrations.Migration):
    dependencies = [
        ("compliance", "0007_messages_that_ask_a_colleague"),
        ("sites", "0001_initial"),
        ("visits", "0014_readings_are_found_by_their_day"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="PastWorkVisit",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=accounts.ids.uuid7,
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("created_at", models.DateTimeField(auto_now_add=True)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="SealedGap",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=accounts.ids.uuid7,
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("attempt", models.PositiveSmallIntegerField()),
                ("position", models.PositiveSmallIntegerField()),
                ("place", models.CharField(max_length=160)),
                ("material", models.CharField(max_length=160)),
                ("before_mm", models.DecimalField(decimal_places=1, max_digits=5)),
                ("after_mm", models.DecimalField(decimal_places=1, max_digits=5)),
                (
                    "risk",
                    models.CharField(
                        choices=[
                            ("mouse", "Mice"),
                            ("rat", "Rats"),
                            ("other", "Insects and others"),
                        ],
                        max_length=6,
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="actionphoto",
            name="attempt",
            field=models.PositiveSmallIntegerField(default=1),
        ),
        migrations.AddField(
            model_name="correctiveaction",
            name="accepted_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="correctiveaction",
            name="accepted_by",
            field=models.ForeignKey(
                blank=True,
                help_text="The client's manager who accepted the work as it was reported done.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="correctiveaction",
            name="attempt",
            field=models.PositiveSmallIntegerField(
                default=1, help_text="Grows each time that work reported done is sent back."
            ),
        ),
        migrations.AddField(
            model_name="correctiveaction",
            name="reopened_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="correctiveaction",
            name="reopened_reason",
            field=models.TextField(blank=True),
        ),
        migrations.AlterField(
            model_name="actionphoto",
            name="moment",
            field=models.CharField(
                choices=[("before", "Before"), ("start", "At the start of"), ("after", "After")],
                max_length=6,
            ),
        ),
        migrations.AlterField(
            model_name="correctiveaction",
            name="work_visit",
            field=models.OneToOneField(
                blank=True,
                help_text="The visit that does the ordered work, the last that was planned for it.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="does_action",
                to="visits.visit",
            ),
        ),
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
                    ("question_open", "Question not answered"),
                    ("check_missed", "Finished work not checked"),
                    ("monitor_unread", "Monitor not read"),
                    ("competence_expiring", "Competence about to lapse"),
                    ("document_expiring", "Document about to expire"),
                    ("not_reached_again", "Not reached again and again"),
                    ("to_place", "Record to place"),
                    ("against_label", "Treatment against the label"),
                    ("bait_review", "Bait past its review day"),
                    ("follow_up_open", "Follow-up not answered"),
                    ("trend_alarm", "More caught than usual"),
                    ("threshold_breached", "Action threshold reached"),
                    ("trend_review_due", "Trend review due"),
                    ("record_late", "Record incomplete or late"),
                    ("job_failed", "Job gave up"),
                ],
                max_length=24,
            ),
        ),
        migrations.AlterField(
            model_name="signoff",
            name="meaning",
            field=models.CharField(
                choices=[
                    ("go_ahead", "Orders the work described"),
                    ("declines", "Declines the work and carries the risk described"),
                    ("confirms_done", "Confirms that the work described was done"),
                    ("accepts", "Accepts the work described as finished"),
                    ("checked", "Has checked the work described and found it sound"),
                ],
                max_length=14,
            ),
        ),
        migrations.AddConstraint(
            model_name="correctiveaction",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("accepted_at", None), ("accepted_by", None)),
                    models.Q(
                        ("accepted_at__isnull", False),
                        ("accepted_by__isnull", False),
                        ("state__in", ["done", "checked", "withdrawn"]),
                    ),
                    _connector="OR",
                ),
                name="action_accepted_is_done",
            ),
        ),
        migrations.AddField(
            model_name="pastworkvisit",
            name="action",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="past_work_visits",
                to="compliance.correctiveaction",
            ),
        ),
        migrations.AddField(
            model_name="pastworkvisit",
            name="visit",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="past_work",
                to="visits.visit",
            ),
        ),
        migrations.AddField(
            model_name="sealedgap",
            name="action",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="gaps",
                to="compliance.correctiveaction",
            ),
        ),
        migrations.AddConstraint(
            model_name="sealedgap",
            constraint=models.UniqueConstraint(
                fields=("action", "attempt", "position"), name="gap_position_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="sealedgap",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("after_mm__gte", 0),
                    ("before_mm__gt", 0),
                    ("after_mm__lte", models.F("before_mm")),
                ),
                name="gap_is_not_wider_than_before",
            ),
        ),
        migrations.AddConstraint(
            model_name="sealedgap",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        models.Q(("risk", "mouse"), _negated=True),
                        ("after_mm__lte", Decimal("6")),
                        _connector="OR",
                    ),
                    models.Q(
                        models.Q(("risk", "rat"), _negated=True),
                        ("after_mm__lte", Decimal("12")),
                        _connector="OR",
                    ),
                ),
                name="gap_keeps_rodents_out",
            ),
        ),
    ]
