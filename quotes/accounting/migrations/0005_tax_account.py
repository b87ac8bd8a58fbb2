from __future__ import annotations

from django.db import migrations, models

from quotes.jobs.immutable_triggers import allow, written_once


class Migration(migrations.Migration):

    dependencies = [
        ('books', '0004_every_step_of_a_quote'),
    ]

    operations = [
        *allow("accounting_ledgerentry", "accounting_ledgerentry_no_update", "accounting_ledgerentry_no_delete"),
        migrations.AddField(
            model_name='ledgerentry',
            name='tax_account',
            field=models.CharField(blank=True, max_length=40),
        ),
        *written_once("accounting_ledgerentry"),
    ]
