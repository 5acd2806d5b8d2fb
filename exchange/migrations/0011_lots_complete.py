"""What 0010 filled in is needed from now on; histories are append-only."""

import django.db.models.deletion
import exchange.models.lot_code
from django.db import migrations, models

from exchange.migrations._append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("exchange", "0010_lots_of_before")]

    operations = [
        migrations.RemoveField(model_name="lot", name="store_before"),
        migrations.AlterField(
            model_name="lot",
            name="code",
            field=models.CharField(
                default=exchange.models.lot_code.code_new, editable=False, max_length=8, unique=True
            ),
        ),
        migrations.AlterField(
            model_name="lot",
            name="store",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="lots", to="exchange.store"
            ),
        ),
        append_only(
            "exchange_addressview",
            "exchange_agreementevent",
            "exchange_custodyevent",
            "exchange_papersstatement",
            "exchange_recall",
            "exchange_recallnotice",
        ),
    ]
