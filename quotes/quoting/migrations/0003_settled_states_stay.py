from __future__ import annotations

from django.db import migrations

from quotes.jobs.immutable_triggers import refuse

SETTLED = "OLD.state IN ('accepted', 'declined', 'lapsed', 'replaced')"


class Migration(migrations.Migration):
    dependencies = [("offers", "0002_written_once")]

    operations = [
        refuse("quoting_revision", "UPDATE", f"{SETTLED} AND NEW.state <> OLD.state", name="quoting_revision_settled"),
        refuse("quoting_party", "UPDATE", "OLD.answer <> 'waiting' AND NEW.answer <> OLD.answer", name="quoting_party_settled"),
    ]
