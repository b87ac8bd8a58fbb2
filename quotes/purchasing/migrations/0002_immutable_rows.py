from __future__ import annotations

from django.db import migrations

from quotes.jobs.immutable_triggers import written_once


class Migration(migrations.Migration):
    dependencies = [("purchasing", "0001_initial")]

    operations = written_once("purchasing_orderevent", "purchasing_stockmovement")
