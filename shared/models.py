"""Models of the base package, imported here because Django needs them here."""

from __future__ import annotations

from shared.api.idempotency_models import IdempotentCall
from shared.background.mail_server import MailServer
from shared.background.outbox import Event, OutboxTask, PeriodicTask
from shared.background.outgoing_mail import OutgoingMail
from shared.business.business_owned import BusinessOwned, new_ref
from shared.business.models import ApiKey, Business, Member, Paper, Person, SupplierAccount
from shared.database.audit_log import AuditEntry
from shared.database.numbering import NumberSequence
from shared.web.rate_limit import RateWindow

__all__ = [
    "ApiKey",
    "AuditEntry",
    "Business",
    "BusinessOwned",
    "Event",
    "IdempotentCall",
    "MailServer",
    "Member",
    "NumberSequence",
    "OutboxTask",
    "OutgoingMail",
    "Paper",
    "PeriodicTask",
    "Person",
    "RateWindow",
    "SupplierAccount",
    "new_ref",
]
