from __future__ import annotations

from django.db import migrations

from quotes.jobs.immutable_triggers import refuse

SETTLED = "OLD.state IN ('accepted', 'declined', 'lapsed', 'replaced')"


class Migration(migrations.Migration):
    dependencies = [("offers", "0002_written_once")]

    operations = [
        refuse("offers_revision", "UPDATE", f"{SETTLED} AND NEW.state <> OLD.state", name="offers_revision_settled"),
        refuse("offers_party", "UPDATE", "OLD.answer <> 'waiting' AND NEW.answer <> OLD.answer", name="offers_party_settled"),
    ]
