"""A code, a store and a stay in it for every lot that was there before lots had them."""

from datetime import UTC, datetime, time

from django.db import migrations

from exchange.models.lot_code import code_new


def complete(apps, schema_editor):
    alias = schema_editor.connection.alias
    lot, store, stay = (apps.get_model("exchange", name) for name in ("Lot", "Store", "Stay"))
    for row in lot.objects.using(alias).select_related("plant").order_by("pk"):
        row.store, _ = store.objects.using(alias).get_or_create(
            grower_id=row.plant.grower_id, name=row.store_before, defaults={"kind": row.store_before}
        )
        row.code = code_new()
        row.save(update_fields=["store", "code"])
        noon = datetime.combine(row.collected_on, time(12), UTC)
        stay.objects.using(alias).create(lot=row, store=row.store, since=noon)


def words_again(apps, schema_editor):
    alias = schema_editor.connection.alias
    lot, stay = (apps.get_model("exchange", name) for name in ("Lot", "Stay"))
    for row in lot.objects.using(alias).select_related("store"):
        row.store_before = "refrigerator" if row.store.kind == "refrigerator" else "freezer"
        row.store = None
        row.save(update_fields=["store_before", "store"])
    stay.objects.using(alias).all().delete()
    apps.get_model("exchange", "Store").objects.using(alias).all().delete()


class Migration(migrations.Migration):
    dependencies = [("exchange", "0009_lots")]

    operations = [migrations.RunPython(complete, words_again)]
