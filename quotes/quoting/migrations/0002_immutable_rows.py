from __future__ import annotations

from django.db import migrations

from quotes.jobs.immutable_triggers import refuse, written_once

FROZEN = " OR ".join(
    f"OLD.{column} <> NEW.{column}"
    for column in (
        "content", "content_sha256", "quote_id", "number", "kind", "measure_version_id", "sent_at", "valid_until",
        "override_reason", "business_id",
    )
)  # fmt: skip
SETTLED = (
    "(OLD.state IN ('declined', 'expired', 'superseded', 'cancelled') AND NEW.state <> OLD.state) "
    "OR (OLD.state = 'accepted' AND NEW.state NOT IN ('accepted', 'cancelled'))"
)


class Migration(migrations.Migration):
    dependencies = [("quoting", "0001_initial")]

    operations = [
        *written_once("quoting_partyresponse"),
        refuse("quoting_revision", "UPDATE", f"OLD.state <> 'draft' AND (NEW.state = 'draft' OR {FROZEN})"),
        refuse("quoting_revision", "DELETE", "OLD.state <> 'draft'"),
        refuse("quoting_revision", "UPDATE", SETTLED, name="quoting_revision_settled"),
        refuse("quoting_party", "UPDATE", "OLD.response <> 'pending' AND NEW.response <> OLD.response", name="quoting_party_settled"),
    ]
