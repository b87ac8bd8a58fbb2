from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import migrations, models

from quotes.purchasing.order_totals import add_up


def fill(apps: Any, schema_editor: Any) -> None:
    for order in apps.get_model("orders", "SupplierOrder")._base_manager.iterator(chunk_size=500):
        add_up(order, list(order.lines.all()))
        order.save(update_fields=["goods_after_credits", "tax_after_credits", "total_after_credits"])



class Migration(migrations.Migration):

    dependencies = [
        ('orders', '0004_holds_of_an_order'),
    ]

    operations = [
        migrations.AddField(
            model_name='supplierorder',
            name='goods_after_credits',
            field=models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=16),
        ),
        migrations.AddField(
            model_name='supplierorder',
            name='tax_after_credits',
            field=models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=16),
        ),
        migrations.AddField(
            model_name='supplierorder',
            name='total_after_credits',
            field=models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=16),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
