"""``manage.py start_business``: a business that can quote, in a minute; run again it changes nothing."""

from __future__ import annotations

import getpass
import sys
from argparse import ArgumentParser
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from catalogue.completeness import lacks
from catalogue.queries import default_system
from catalogue.starting import NewBusiness, find, start
from fencing.faults import Refused
from shared.business.models import Business

_ASKED = {
    "name": "Name of the business",
    "place": "Place",
    "country": "Country (two letters of ISO 3166-1)",
    "currency": "Currency (three letters of ISO 4217)",
    "tax_name": "What its tax is called",
    "tax_rate": "Tax rate in percent (0 for none)",
    "owner": "E-mail of the owner",
}


class Command(BaseCommand):
    help = "Starts a business with an invented catalogue, a fence system, suppliers and price rules to edit."

    def add_arguments(self, parser: ArgumentParser) -> None:
        for name, text in _ASKED.items():
            parser.add_argument(f"--{name.replace('_', '-')}", help=f"{text}; asked for when left out")
        parser.add_argument(
            "--empty", action="store_true", help="no catalogue: it comes by API, by spreadsheet or in the admin"
        )
        parser.add_argument(
            "--password-stdin", action="store_true", help="read the owner's password from standard input"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        asking = sys.stdin.isatty() and not options["password_stdin"]
        told: dict[str, Any] = {
            name: options[name] if options[name] is not None else self._ask(name, asking) for name in _ASKED
        }
        try:
            new = NewBusiness(tax_rate=Decimal(told.pop("tax_rate")), **told)
            known = find(new) is not None
            password = None if known else self._password(asking, read=options["password_stdin"])
            business, started = start(new, password=password, stocked=not options["empty"])
        except (ValueError, InvalidOperation, ValidationError, Refused) as fault:
            raise CommandError(self._reason(fault)) from fault
        self.stdout.write(f"{business.name} is {'ready' if started else 'there already, and stays as it is'}.")
        self._tell_catalogue(business)
        if started and password is None:
            self.stdout.write(f"Set a password before signing in: manage.py changepassword {new.owner}")

    def _tell_catalogue(self, business: Business) -> None:
        try:
            code, missing = default_system(business).code, [lack.text for lack in lacks(business)]
        except Refused:
            code, missing = "none yet", ["a fence system, and what it is built of"]
        self.stdout.write(f"Fence system for measures that name none: {code}")
        for text in missing:
            self.stdout.write(f"  still missing: {text}")

    def _ask(self, name: str, asking: bool) -> str:
        if not asking:
            raise CommandError(f"--{name.replace('_', '-')} is needed: {_ASKED[name].lower()}.")
        return input(f"{_ASKED[name]}: ").strip()

    def _password(self, asking: bool, *, read: bool) -> str | None:
        if read:
            return sys.stdin.readline().rstrip("\n") or None
        return getpass.getpass("Password for the owner (empty: none yet): ") or None if asking else None

    def _reason(self, fault: Exception) -> str:
        if isinstance(fault, ValidationError) and hasattr(fault, "message_dict"):
            return "; ".join(f"{name}: {' '.join(texts)}" for name, texts in fault.message_dict.items())
        if isinstance(fault, InvalidOperation):
            return "The tax rate is a number, such as 10 or 12.5."
        return str(fault)
