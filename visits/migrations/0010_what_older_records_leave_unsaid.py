"""Records sealed before rule sets could be chosen named what they left unsaid in their seals."""

import json

from django.db import migrations

BATCH = 500


def take_from_seals(apps, schema_editor):
    """Copy what was named then, so that the register finds those records too. May run twice."""
    visits = apps.get_model("visits", "Visit").objects
    treatments = apps.get_model("visits", "Treatment").objects
    sealed = visits.exclude(sealed_record="").filter(treatments__rule_set="").distinct()
    pending = []
    for text in sealed.order_by("pk").values_list("sealed_record", flat=True).iterator(BATCH):
        for one in json.loads(text).get("treatments", ()):
            keys = [key for key, _ in one["words"].get("missing", ())]
            if keys:
                pending.append((one["id"], keys))
        if len(pending) >= BATCH:
            _write(treatments, pending)
            pending = []
    _write(treatments, pending)


def _write(treatments, pending):
    found = treatments.in_bulk([pk for pk, _ in pending])
    by_id = {str(pk): one for pk, one in found.items()}
    rows = []
    for pk, keys in pending:
        one = by_id.get(pk)
        if one is not None and not one.rule_set:
            one.unsaid, one.is_incomplete = keys, True
            rows.append(one)
    treatments.bulk_update(rows, ["unsaid", "is_incomplete"], batch_size=BATCH)


class Migration(migrations.Migration):
    dependencies = [("visits", "0009_what_a_record_was_judged_by")]

    operations = [migrations.RunPython(take_from_seals, migrations.RunPython.noop)]
