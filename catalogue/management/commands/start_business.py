"""``manage.py start_business``: a business that can quote, in a minute; run again it changes nothing."""

from __future__ import annotations

import getpass
import sys
from argparse import ArgumentParser
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from catalogue.engine.completeness import missing_items
from catalogue.queries import default_system
from catalogue.spreadsheets.sample_catalogue import NewBusiness, create_business, find_business
from fencing.model.faults import InvalidDocument
from shared.business.models import Business, Member, Person
from shared.business.places import zones_of
from shared.common.money import minor_digits
from shared.members.invitations import address_of

_ASKED = {
    "name": "Name of the business",
    "city": "City",
    "country": "Country (two letters of ISO 3166-1)",
    "time_zone": "Time zone",
    "currency": "Currency (three letters of ISO 4217)",
    "tax_name": "Name of the tax, such as GST",
    "tax_rate": "Tax rate in percent (0 for none)",
    "owner": "E-mail of the owner",
}


def _checked(name: str, text: str) -> None:
    """ValueError or ValidationError for an answer that can't be."""
    if name == "owner":
        Person(email=text).clean_fields(exclude=["password"])
    elif name == "currency":
        minor_digits(text)
    elif name == "tax_rate":
        if not 0 <= _rate(text) < 100:
            raise ValueError("Enter a rate from 0 to below 100 percent.")
    else:
        others = {field.name for field in Business._meta.fields} - {name}
        Business(**{name: text}).clean_fields(exclude=others)


def _rate(text: str) -> Decimal:
    try:
        rate = Decimal(text.strip().removesuffix("%").rstrip().replace(",", ".", 1))
    except InvalidOperation:
        rate = Decimal("NaN")
    if not rate.is_finite():
        raise ValueError("The tax rate is a number, such as 10 or 12.5.")
    return rate


def _reason(fault: Exception) -> str:
    if isinstance(fault, ValidationError) and hasattr(fault, "error_dict"):
        return "; ".join(f"{name}: {' '.join(texts)}" for name, texts in fault.message_dict.items())
    return " ".join(fault.messages) if isinstance(fault, ValidationError) else str(fault)


class Command(BaseCommand):
    help = "Start a business with an invented catalogue, a fence system, suppliers and price rules to edit."

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
        data: dict[str, Any] = {}
        for name in _ASKED:
            data[name] = options[name] if options[name] is not None else self._answer(name, data, asking)
        try:
            new = NewBusiness(tax_rate=_rate(data.pop("tax_rate")), **data)
            known = find_business(new) is not None or Person.objects.filter(email=new.owner.strip().lower()).exists()
            password = None if known else self._password(new.owner, asking, read=options["password_stdin"])
            business, started = create_business(new, password=password, stocked=not options["empty"])
        except (ValueError, ValidationError, InvalidDocument) as fault:
            raise CommandError(_reason(fault)) from fault
        self.stdout.write(f"{business.name} is {'ready' if started else 'there already, and stays as it is'}.")
        self._tell_catalogue(business)
        member = Member.objects.select_related("person").get(business=business, person__email=new.owner.strip().lower())
        if member.accepted_at is None:
            self.stdout.write(
                f"{member.person.email} joins by the link in the letter that was sent, or by this one, which is theirs "
                f"alone:\n  {address_of(member)}"
            )

    def _tell_catalogue(self, business: Business) -> None:
        try:
            code, missing = default_system(business).code, [lack.text for lack in missing_items(business)]
        except InvalidDocument:
            code, missing = "none yet", ["a fence system and its parts"]
        self.stdout.write(f"Default fence system: {code}")
        for text in missing:
            self.stdout.write(f"  still missing: {text}")

    def _answer(self, name: str, answers: Mapping[str, Any], asking: bool) -> str:
        """Return what was left out: the only time zone of a country, or what is typed."""
        zones = zones_of(str(answers.get("country", ""))) if name == "time_zone" else []
        if len(zones) == 1:
            return zones[0]
        hint = f": {', '.join(zones)}" if zones else ""
        return self._ask(name, asking, f"{_ASKED[name]}{hint}")

    def _ask(self, name: str, asking: bool, question: str) -> str:
        """Return a valid answer; an invalid one is asked for again, so that the others need not be typed twice."""
        if not asking:
            raise CommandError(f"--{name.replace('_', '-')} is needed: {question[0].lower()}{question[1:]}.")
        while True:
            text = input(f"{question}: ").strip()
            text = text.upper() if name in ("country", "currency") else text
            try:
                _checked(name, text)
            except (ValueError, ValidationError) as fault:
                self.stdout.write(f"  {_reason(fault)}")
            else:
                return text

    def _password(self, owner: str, asking: bool, *, read: bool) -> str | None:
        """Return the owner's password, under the rules of the pages; None if there is none yet."""
        person = Person(email=owner)
        if read:
            password = sys.stdin.readline().rstrip("\n") or None
            if password is not None:
                validate_password(password, person)
            return password
        while asking:
            password = (
                getpass.getpass("Password for the owner, 12 characters or more (empty: a link is sent): ") or None
            )
            try:
                if password is not None:
                    validate_password(password, person)
                if password is None or getpass.getpass("Repeat the password: ") == password:
                    return password
                self.stdout.write("  The passwords differ.")
            except ValidationError as fault:
                self.stdout.write(f"  {_reason(fault)}")
        return None
