"""Every product's words become the first version of its label; amounts so far were in its unit."""

from datetime import UTC, datetime

from django.db import migrations
from django.db.models import F

BATCH = 500


def fill(apps, schema_editor):
    Product = apps.get_model("visits", "Product")
    ProductLabel = apps.get_model("visits", "ProductLabel")
    Treatment = apps.get_model("visits", "Treatment")
    without = Product.objects.filter(label=None).order_by("pk")
    while batch := list(without[:BATCH]):
        for product in batch:
            label = ProductLabel.objects.filter(product=product).order_by("-number").first()
            product.label = label or ProductLabel.objects.create(
                product=product,
                number=1,
                in_force_from=product.created_at.astimezone(UTC).date()
                if product.created_at
                else datetime.now(UTC).date(),
                actives=[{"name": product.actives, "strength": "", "basis": ""}]
                if product.actives
                else [],
                permitted_places=product.permitted_places,
                permitted_pests=product.permitted_pests,
                cautions=product.cautions,
                re_entry=product.re_entry,
                safety_data_sheet_on=product.safety_data_sheet_on,
                authorised_until=product.authorised_until,
            )
            product.save(update_fields=["label"])
    Treatment.objects.filter(product_amount=None).update(product_amount=F("amount"))


def empty(apps, schema_editor):
    Product = apps.get_model("visits", "Product")
    ProductLabel = apps.get_model("visits", "ProductLabel")
    labelled = Product.objects.exclude(label=None).select_related("label").order_by("pk")
    while batch := list(labelled[:BATCH]):
        for product in batch:
            label = product.label
            product.actives = "; ".join(
                " ".join(
                    part
                    for part in (one["name"], one.get("strength", ""), one.get("basis", ""))
                    if part
                )
                for one in label.actives
            )[:300]
            product.permitted_places = label.permitted_places
            product.permitted_pests = label.permitted_pests
            product.cautions = label.cautions
            product.re_entry = label.re_entry
            product.safety_data_sheet_on = label.safety_data_sheet_on
            product.authorised_until = label.authorised_until
            product.label = None
            product.save()
    apps.get_model("visits", "Treatment").objects.update(label=None, rate=None)
    apps.get_model("visits", "LabelRate").objects.all().delete()
    ProductLabel.objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("visits", "0004_what_labels_state")]
    operations = [migrations.RunPython(fill, empty)]
