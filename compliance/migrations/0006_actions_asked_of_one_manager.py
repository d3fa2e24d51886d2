import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ("compliance", "0005_options_weighed_and_asked_about"),
    ]

    operations = [
        migrations.AddField(
            model_name="correctiveaction",
            name="asked",
            field=models.ForeignKey(
                blank=True,
                help_text="The client's manager who is asked to decide; any manager of the site still may.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="actions_asked",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
    ]
