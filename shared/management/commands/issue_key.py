"""Command ``issue_key``: creates an API key and prints it once."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shared.business.actors import SYSTEM
from shared.business.models import Business, SupplierAccount
from shared.business.roles import SUPPLIER_SCOPES, MemberRole, granted
from shared.members.services import issue_key


class Command(BaseCommand):
    help = "Create an API key with the scopes of a role, or a supplier's key. The key is shown only once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--name", default="command line", help="purpose of the key")
        parser.add_argument("--business", help="name or ref of the business; not needed if there is only one")
        parser.add_argument("--role", choices=[role.value for role in MemberRole], default=MemberRole.OWNER.value)
        parser.add_argument("--supplier", metavar="ACCOUNT", help="name or ref of a supplier account instead")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["supplier"]:
            account = _find(SupplierAccount.objects.all(), options["supplier"], "supplier account")
            _, text = issue_key(name=options["name"], scopes=SUPPLIER_SCOPES, supplier_account=account, actor=SYSTEM)
        else:
            business = _find(Business.objects.all(), options["business"], "business")
            _, text = issue_key(name=options["name"], scopes=granted(options["role"]), business=business, actor=SYSTEM)
        self.stdout.write(text)


def _find(rows: Any, name: str | None, what: str) -> Any:
    """Return the record with a name or ref; without one, the only record."""
    found = list((rows.filter(name=name) | rows.filter(ref=name) if name else rows).order_by("id")[:2])
    if len(found) != 1:
        known = ", ".join(rows.order_by("name").values_list("name", flat=True)[:20]) or "none"
        raise CommandError(f"Name one {what}. Known: {known}.")
    return found[0]
