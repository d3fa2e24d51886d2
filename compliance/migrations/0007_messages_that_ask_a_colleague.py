import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ("compliance", "0006_actions_asked_of_one_manager"),
    ]

    operations = [
        migrations.AddField(
            model_name="actionmessage",
            name="asks",
            field=models.ForeignKey(
                blank=True,
                help_text="The manager whom this asks to decide: it waits for them, not for the office.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
    ]
