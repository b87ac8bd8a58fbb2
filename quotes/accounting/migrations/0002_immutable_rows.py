from __future__ import annotations

from django.db import migrations

from quotes.jobs.immutable_triggers import written_once


class Migration(migrations.Migration):
    dependencies = [("accounting", "0001_initial")]

    operations = written_once(
        "accounting_ledgerentry", "accounting_periodlock", "accounting_quoteentry", "accounting_receivedentry"
    )
