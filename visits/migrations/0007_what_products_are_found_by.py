"""Products of before get the words that a search looks through."""

from django.db import migrations

BATCH = 500


def fill(apps, schema_editor):
    Product = apps.get_model("visits", "Product")
    without = Product.objects.filter(found_by="").select_related("label").order_by("pk")
    while batch := list(without[:BATCH]):
        for product in batch:
            label = product.label
            told = [product.name, product.registration_number, product.authority]
            told += [one["name"] for one in label.actives]
            told += [label.permitted_pests, *label.pests, *label.pest_groups]
            product.found_by = " ".join(" ".join(told).split()).casefold()
        Product.objects.bulk_update(batch, ["found_by"])


class Migration(migrations.Migration):
    dependencies = [("visits", "0006_labels_state_it_alone")]
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
