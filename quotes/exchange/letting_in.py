"""Letting a supplier's own system in."""

from __future__ import annotations

from django.db import transaction

from catalogue.models import Supplier
from quotes.exchange.sandbox import open_sandbox
from shared import audit
from shared.business.actors import Actor
from shared.business.models import ApiKey
from shared.business.roles import SUPPLIER_SCOPES
from shared.business.services import issue_key
from shared.models import SupplierAccount
from shared.problems import Problem


@transaction.atomic
def let_in(*, supplier: Supplier, name: str, live: bool, actor: Actor) -> tuple[ApiKey, str]:
    """A key for a supplier's system, with its text; its account is opened at the first one.

    Raises:
        Problem: the account serves other businesses too, which this one must not reach into.
    """
    account = supplier.account
    if account is None:
        account = supplier.account = SupplierAccount.objects.create(name=supplier.name, email=supplier.email)
        supplier.save()
    elif serves_others(account, supplier):
        raise Problem("conflict", "This supplier's system serves other businesses too; it issues its own keys.")
    if not live:
        open_sandbox(account)
    key, text = issue_key(name=name, scopes=SUPPLIER_SCOPES, supplier_account=account, live=live, actor=actor)
    audit.record(supplier.business, actor, "supplier.key", f"supplier:{supplier.ref}", {"key": key.ref, "live": live})
    return key, text


def serves_others(account: SupplierAccount, supplier: Supplier) -> bool:
    """Whether a supplier's account is another business's supplier too: then its keys are none of this one's."""
    others = Supplier.anywhere.filter(account=account)  # unscoped: only whether there are others is asked
    return others.exclude(business_id=supplier.business_id).filter(business__sandbox=None).exists()
