"""Setup of a draft, entered by the estimator: parties, options, alternatives, extras, discount, payments, texts.

A value that was not entered is None and is left out of the stored setup.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction

from catalogue.rules.price_rule_lines import Due
from fencing.model.faults import Fault, InvalidDocument
from quotes.quoting.json_values import Exact, JsonObject, Value, plain, to_value
from quotes.quoting.models import Revision
from quotes.quoting.serializers import SetupIn
from shared.api.serializers import validated_data

MAX = {"parties": 20, "alternatives": 6, "options": 40, "extra_items": 60, "payments": 12, "hire": 20}


class PartySetup(Value, frozen=True, kw_only=True):
    key: str
    name: str
    email: str | None = None
    address: str | None = None
    must_accept: bool | None = None
    chooses_options: bool | None = None

    @property
    def accepts(self) -> bool:
        """Return whether the quote needs the acceptance of this party, which is the default."""
        return self.must_accept is not False


class AlternativeSetup(Value, frozen=True, kw_only=True):
    """An alternative to the measured fence: its values replace those of every run of the measure."""

    key: str
    label: str
    height_mm: int | None = None
    lattice_mm: int | None = None
    form: str | None = None
    layout: str | None = None
    system: str | None = None

    def changes(self) -> JsonObject:
        """Return the values that differ from the measure, by their names in the measure."""
        return {name: value for name, value in plain(self).items() if name not in ("key", "label")}


class PriceByHand(Value, frozen=True, kw_only=True):
    """An extra priced by hand, ``net`` before tax."""

    label: str
    detail: str | None = None
    quantity: Exact | None = None
    unit: str | None = None
    net: Exact
    cost: Exact | None = None
    tax_code: str | None = None
    licensed_removal: str | None = None
    shares: Mapping[str, Fraction] | None = None


class OptionSetup(PriceByHand, frozen=True, kw_only=True):
    """An option that the customer may add."""

    key: str


class DiscountSetup(Value, frozen=True, kw_only=True):
    """The ``rule`` of a discount, or a discount of its own."""

    rule: str | None = None
    label: str | None = None
    percent: Exact | None = None
    amount: Exact | None = None


class PaymentSetup(Value, frozen=True, kw_only=True):
    key: str
    label: str
    percent: Exact
    milestone: Due


class SiteConditions(Value, frozen=True, kw_only=True):
    pool_runs: tuple[str, ...] = ()
    near_driveway: bool | None = None
    height_limit_mm: int | None = None


class DraftSetup(Value, frozen=True, kw_only=True):
    """The whole setup of a draft."""

    parties: tuple[PartySetup, ...] = ()
    default_shares: Mapping[str, Fraction] | None = None
    alternatives: tuple[AlternativeSetup, ...] = ()
    options: tuple[OptionSetup, ...] = ()
    extra_items: tuple[PriceByHand, ...] = ()
    discount: DiscountSetup | None = None
    payments: tuple[PaymentSetup, ...] = ()
    site_visits: Exact | None = None
    hire: Mapping[str, Exact] | None = None
    site_conditions: SiteConditions | None = None
    validity_days: int | None = None
    supply_on: datetime.date | None = None
    introduction: str | None = None
    terms: str | None = None


def setup_of(revision: Revision) -> DraftSetup:
    """Return the stored setup of a revision."""
    return to_value(revision.setup, DraftSetup)


def read_setup(body: JsonObject) -> DraftSetup:
    """Return a draft's setup from an API body. Raise InvalidDocument with every error."""
    return checked_setup(validated_data(SetupIn, body))


def checked_setup(values: JsonObject) -> DraftSetup:
    """Return the setup from validated values, checked for errors between fields."""
    setup = to_value(values, DraftSetup)
    faults = [*_too_many(setup), *_doubles(setup), *_party_faults(setup), *_unknown_parties(setup)]
    total = sum((payment.percent for payment in setup.payments), Decimal(0))
    if setup.payments and total != 100:
        faults.append(Fault("/payments", "payments.sum", f"The payments add up to {total:f} %, not to 100 %."))
    if faults:
        raise InvalidDocument(faults)
    return setup


def _too_many(setup: DraftSetup) -> Iterator[Fault]:
    for name, most in MAX.items():
        if len(getattr(setup, name) or ()) > most:
            yield Fault(f"/{name}", "too-many", f"Enter at most {most} entries.")


def _doubles(setup: DraftSetup) -> Iterator[Fault]:
    for name in ("parties", "alternatives", "options", "payments"):
        keys = [row.key for row in getattr(setup, name)]
        for place, key in enumerate(keys):
            if key in keys[:place]:
                yield Fault(f"/{name}/{place}/key", "key.twice", f"The key {key!r} is used twice.")


def _party_faults(setup: DraftSetup) -> Iterator[Fault]:
    if sum(bool(party.chooses_options) for party in setup.parties) > 1:
        yield Fault("/parties", "chooses_options.many", "At most one party chooses the options.")
    if setup.parties and not any(party.accepts for party in setup.parties):
        yield Fault("/parties", "must_accept.none", "At least one party must accept.")
    for place, party in enumerate(setup.parties):
        if party.chooses_options and not party.accepts:
            text = "The party that chooses the options must accept too."
            yield Fault(f"/parties/{place}/must_accept", "chooses_options.optional", text)


def _unknown_parties(setup: DraftSetup) -> Iterator[Fault]:
    """Yield an error for each share of a party that the setup does not name. Without parties any share is allowed."""
    named = {"/default_shares": setup.default_shares}
    for name in ("options", "extra_items"):
        named |= {f"/{name}/{place}/shares": row.shares for place, row in enumerate(getattr(setup, name))}
    known = {party.key for party in setup.parties}
    for pointer, shares in named.items() if known else ():
        for key in shares or ():
            if key not in known:
                text = f"There is no party {key!r}. Use the key of a party of this quote."
                yield Fault(f"{pointer}/{key}", "party.unknown", text)
