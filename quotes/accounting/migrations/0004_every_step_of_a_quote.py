from __future__ import annotations

from django.db import migrations, models

from quotes.jobs.immutable_triggers import allow, written_once


class Migration(migrations.Migration):

    dependencies = [
        ('books', '0003_quotes_receipts_and_credits'),
        ('jobs', '0003_ticks'),
        ('offers', '0004_cancelled_with_the_job'),
        ('shared', '0004_a_mark_for_each_letter'),
    ]

    operations = [
        *allow("accounting_quoteentry", "accounting_quoteentry_no_update", "accounting_quoteentry_no_delete"),
        migrations.RemoveConstraint(
            model_name='quoteentry',
            name='quote_entry_known',
        ),
        migrations.AlterField(
            model_name='quoteentry',
            name='what',
            field=models.CharField(choices=[('quoted', 'quoted'), ('accepted', 'accepted'), ('declined', 'declined'), ('lapsed', 'lapsed'), ('replaced', 'replaced'), ('cancelled', 'cancelled')], max_length=9),
        ),
        migrations.AddConstraint(
            model_name='quoteentry',
            constraint=models.CheckConstraint(condition=models.Q(('what__in', ['quoted', 'accepted', 'declined', 'lapsed', 'replaced', 'cancelled'])), name='quote_entry_known'),
        ),
        *written_once("accounting_quoteentry"),
    ]
