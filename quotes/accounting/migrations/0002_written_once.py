from __future__ import annotations

from django.db import migrations

from quotes.jobs.immutable_triggers import written_once


class Migration(migrations.Migration):
    dependencies = [("books", "0001_ledger_and_locks"), ("jobs", "0002_written_once")]

    operations = written_once("accounting_ledgerentry", "accounting_periodlock")
