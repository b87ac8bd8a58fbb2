from __future__ import annotations

from django.db import migrations

from quotes.jobs.immutable_triggers import written_once


class Migration(migrations.Migration):
    dependencies = [("orders", "0001_orders_and_stock"), ("jobs", "0002_written_once")]

    operations = written_once("purchasing_orderevent", "purchasing_stockmovement")
