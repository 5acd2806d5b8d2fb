"""A supply for every offer and lot that was there before doses were counted."""

from django.db import migrations


def supplies_of_old_offers(apps, schema_editor):
    alias = schema_editor.connection.alias
    supply, lot, offer = (apps.get_model("exchange", name) for name in ("Supply", "Lot", "Offer"))
    of_lots = [supply(lot=row, total=row.doses) for row in lot.objects.using(alias).filter(supply=None)]
    waiting = offer.objects.using(alias).filter(supply=None, kind="on_request")
    supply.objects.using(alias).bulk_create(
        [*of_lots, *(supply(offer=row, total=row.doses) for row in waiting)]
    )


class Migration(migrations.Migration):
    dependencies = [("exchange", "0007_deal")]

    operations = [migrations.RunPython(supplies_of_old_offers, migrations.RunPython.noop)]
