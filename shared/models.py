"""The kernel's rows, gathered here because Django looks for them here."""

from __future__ import annotations

from shared.business.models import ApiKey, Business, Member, Paper, Person, SupplierAccount, TaxRule
from shared.business.scoping import Owned, new_ref

__all__ = ["ApiKey", "Business", "Member", "Owned", "Paper", "Person", "SupplierAccount", "TaxRule", "new_ref"]
