"""Content of a revision as one party and the crew may see it: frozen, typed values."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Literal

from catalogue.rules.price_rule_lines import Due
from quotes.quoting.content import (
    BusinessProfile,
    Change,
    ChangedQuantity,
    ContentCustomer,
    ContentSite,
    Dates,
    Drawings,
    JobName,
    PartChange,
)
from quotes.quoting.json_values import EngineDocument, Exact, Value


class ShownCautions(Value, frozen=True):
    customer: tuple[str, ...]
    crew: tuple[str, ...]


class ShownBuild(Value, frozen=True):
    """A build without shares, prices of other options and internal data of the business."""

    key: str
    label: str
    measure: EngineDocument
    system: EngineDocument
    finishes: Mapping[str, str]
    licensed_removals: Mapping[str, bool]
    takeoff: EngineDocument
    takeoff_sha256: str
    drawings: Drawings
    cautions: ShownCautions


class PublicSite(Value, frozen=True):
    address: str
    city: str
    postcode: str
    country: str


class ShownParty(Value, frozen=True):
    name: str
    address: str
    chooses_options: bool


class PartyAddress(Value, frozen=True):
    """The customer of a quote as another party sees it: that party itself."""

    name: str
    address: str


class BuildChoice(Value, frozen=True):
    """A build that the party may choose, with its total and the difference from the chosen build."""

    key: str
    label: str
    total: Exact
    difference: Exact
    chosen: bool
    is_base: bool


class OptionChoice(Value, frozen=True):
    key: str
    label: str
    detail: str
    difference: Exact
    chosen: bool


class ShownSide(Value, frozen=True):
    """A line before or after a variation, without money."""

    text: str
    detail: str
    quantity: Exact
    unit: str


class PartyLine(Value, frozen=True):
    """A line with the share of the party. Only a line of a variation has ``change``, ``before`` and ``after``."""

    part: str | None
    group: str
    text: str
    detail: str
    quantity: Exact
    unit: str
    tax_rate: Exact
    tax_label: str
    share: Fraction
    net: Exact


class ChangedPartyLine(PartyLine, frozen=True):
    """A line of a variation."""

    change: Change
    before: ShownSide | None
    after: ShownSide | None


class TaxRow(Value, frozen=True):
    category: str
    rate: Exact
    taxable: Exact
    tax: Exact


class PartyPayment(Value, frozen=True):
    key: str
    label: str
    milestone: Due
    percent: Exact
    amount: Exact


class PartyContent(Value, frozen=True):
    """A party's complete quote: full scope, own amounts only."""

    party_quote: Literal[1]
    kind: str
    number: str
    revision: int
    label: str
    job: JobName
    dates: Dates
    currency: str
    business: BusinessProfile
    introduction: str
    terms: str
    site: PublicSite
    party: ShownParty
    customer: ContentCustomer | PartyAddress
    build: ShownBuild
    builds: tuple[BuildChoice, ...]
    options: tuple[OptionChoice, ...]
    lines: tuple[PartyLine, ...]
    is_shared: bool
    net: Exact
    breakdown: tuple[TaxRow, ...]
    tax: Exact
    total: Exact
    payments: tuple[PartyPayment, ...]
    quantities: tuple[ChangedQuantity, ...]


class ReplacedSetOut(Value, frozen=True):
    """The revision whose set-out a variation replaces, and the changes."""

    revision: int
    system: bool
    parts: tuple[PartChange, ...]
    extra_items: tuple[str, ...]


class CrewContent(Value, frozen=True):
    """The crew's document: measure, take-off, system and site, without money. ``options``: labels of the chosen ones."""

    crew_document: Literal[1]
    number: str
    revision: int
    kind: str
    label: str
    job: JobName
    site: ContentSite
    business: BusinessProfile
    build: ShownBuild
    options: tuple[str, ...]
    replaces: ReplacedSetOut | None
