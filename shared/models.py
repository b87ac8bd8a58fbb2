"""The kernel's rows, gathered here because Django looks for them here."""

from __future__ import annotations

from shared.audit import AuditEntry
from shared.business.models import ApiKey, Business, Member, Paper, Person, SupplierAccount, TaxRule
from shared.business.scoping import Owned, new_ref
from shared.idempotent_calls import IdempotentCall
from shared.letters import Letter
from shared.mail_server import MailServer
from shared.numbering import Counter
from shared.outbox import Event, Routine, Wanted
from shared.throttle import RateWindow

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
