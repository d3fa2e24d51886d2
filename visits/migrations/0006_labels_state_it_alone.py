"""What a label states leaves the product: from here on only versions of the label hold it."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("visits", "0005_a_label_for_every_product")]

    operations = [
        # Empty is allowed first, so that undoing this finds something to fill the column with.
        migrations.AlterField(
            model_name="product", name="actives", field=models.CharField(blank=True, max_length=300)
        ),
        migrations.RemoveField(model_name="product", name="actives"),
        migrations.RemoveField(model_name="product", name="permitted_places"),
        migrations.RemoveField(model_name="product", name="permitted_pests"),
        migrations.RemoveField(model_name="product", name="cautions"),
        migrations.RemoveField(model_name="product", name="re_entry"),
        migrations.RemoveField(model_name="product", name="safety_data_sheet_on"),
        migrations.RemoveField(model_name="product", name="authorised_until"),
        migrations.AlterField(
            model_name="product",
            name="label",
            field=models.ForeignKey(
                help_text="The version in force.",
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="visits.productlabel",
            ),
        ),
        migrations.AddField(
            model_name="product",
            name="found_by",
            field=models.TextField(
                blank=True,
                default="",
                help_text="What a search looks through, in lower case: names, numbers, actives, pests.",
            ),
        ),
    ]
