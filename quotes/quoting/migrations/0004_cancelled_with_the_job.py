from __future__ import annotations

from django.db import migrations, models

from quotes.jobs.immutable_triggers import allow, refuse

FROZEN = " OR ".join(
    f"OLD.{column} <> NEW.{column}"
    for column in (
        "content", "content_sha256", "quote_id", "number", "kind", "measure_version_id", "sent_at", "valid_until",
        "override_reason", "business_id",
    )
)  # fmt: skip
SETTLED = (
    "(OLD.state IN ('declined', 'lapsed', 'replaced', 'cancelled') AND NEW.state <> OLD.state) "
    "OR (OLD.state = 'accepted' AND NEW.state NOT IN ('accepted', 'cancelled'))"
)


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0003_ticks'),
        ('offers', '0003_settled_states_stay'),
        ('shared', '0004_a_mark_for_each_letter'),
    ]

    operations = [
        *allow("quoting_revision", "quoting_revision_no_update", "quoting_revision_no_delete", "quoting_revision_settled"),
        migrations.RemoveConstraint(
            model_name='revision',
            name='revision_state_known',
        ),
        migrations.AddField(
            model_name='revision',
            name='cancelled_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name='revision',
            name='state',
            field=models.CharField(choices=[('draft', 'draft'), ('sent', 'sent'), ('accepted', 'accepted'), ('declined', 'declined'), ('lapsed', 'lapsed'), ('replaced', 'replaced'), ('cancelled', 'cancelled')], default='draft', max_length=9),
        ),
        migrations.AddConstraint(
            model_name='revision',
            constraint=models.CheckConstraint(condition=models.Q(('state__in', ['draft', 'sent', 'accepted', 'declined', 'lapsed', 'replaced', 'cancelled'])), name='revision_state_known'),
        ),
        refuse("quoting_revision", "UPDATE", f"OLD.state <> 'draft' AND (NEW.state = 'draft' OR {FROZEN})"),
        refuse("quoting_revision", "DELETE", "OLD.state <> 'draft'"),
        refuse("quoting_revision", "UPDATE", SETTLED, name="quoting_revision_settled"),
    ]
