"""The kernel's rows, gathered here because Django looks for them here."""

from __future__ import annotations

from shared.api.idempotency_models import IdempotentCall
from shared.background.mail_server import MailServer
from shared.background.outbox import Event, Routine, Wanted
from shared.background.outgoing_mail import Letter
from shared.business.business_owned import Owned, new_ref
from shared.business.models import ApiKey, Business, Member, Paper, Person, SupplierAccount, TaxRule
from shared.database.audit_log import AuditEntry
from shared.database.numbering import Counter
from shared.web.rate_limit import RateWindow

__all__ = [
    "ApiKey",
    "AuditEntry",
    "Business",
    "Counter",
    "Event",
    "IdempotentCall",
    "Letter",
    "MailServer",
    "Member",
    "Owned",
    "Paper",
    "Person",
    "RateWindow",
    "Routine",
    "SupplierAccount",
    "TaxRule",
    "Wanted",
    "new_ref",
]
