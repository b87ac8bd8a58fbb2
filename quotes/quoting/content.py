"""Content of a revision: frozen, typed values.

The JSON Schema is generated from these classes (``make schemas``). A field with a default value is left out of the
stored text while it has that value.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Literal

from msgspec import Meta

from catalogue.rules.price_rule_lines import Due
from fencing.reading import write_canonical
from quotes.quoting.content_costs import BuyingCosts, Costing, PricedChange
from quotes.quoting.json_values import EngineDocument, Exact, Value, json_schema, plain, to_value
from shared.common.money import Rounding, RoundingRemainder, TaxRoundingLevel

CONTENT_SCHEMA = "quote-content-2"
TITLE = "Quote content, version 2"
BASE = "base"
"""Key of the fence as measured."""
Change = Literal["added", "removed", "changed"]
PlaceKind = Literal["posts", "bays", "gates"]
Shares = Annotated[Mapping[str, Fraction], Meta(description="Share of each party that pays; they add up to 1.")]


class JobName(Value, frozen=True):
    number: str
    label: str


class Dates(Value, frozen=True):
    sent_at: Annotated[datetime.datetime, Meta(tz=True)]
    date: datetime.date
    valid_until: datetime.date
    supply_on: datetime.date


class TaxRules(Value, frozen=True):
    """Rules of the tax calculation. Each party owes tax on its own net, by rate, once on the total or line by line.

    The tax of the job is the sum of its parties.
    """

    at: TaxRoundingLevel
    rounding: Rounding
    line_digits: int | None
    line_rounding: Rounding | None
    rounding_difference: RoundingRemainder


class BusinessProfile(Value, frozen=True):
    name: str
    address: str
    city: str
    postcode: str
    country: str
    email: str
    phone: str
    website: str
    registration_number: str
    tax_number: str
    tax_name: str
    currency: str
    locale: str
    language: str
    time_zone: str
    paper_size: str
    payment_details: str
    custom_texts: Mapping[str, str]
    logo_png: Annotated[str, Meta(description="Empty: no logo.", extra_json_schema={"contentEncoding": "base64"})]


class ContentCustomer(Value, frozen=True):
    name: str
    email: str
    phone: str
    address: str
    registration_number: str


class ContentSite(Value, frozen=True):
    address: str
    city: str
    postcode: str
    country: str
    access_notes: str


class ContentParty(Value, frozen=True):
    key: str
    name: str
    email: str
    address: str
    must_accept: bool
    chooses_options: bool


class Line(Value, frozen=True):
    """A customer line. ``part`` is the id of the run or retrofit, or null for the job as a whole.

    ``group``: fence, gates, removal, extra, option, or the category or rule it comes from. ``unit``: UN/ECE Recommendation 20.
    ``tax_category``: UN/EDIFACT 5305. ``licensed_removal``: the hazardous kind of old fence that a licensed contractor takes
    down for the price of this line.
    """

    key: str
    part: str | None
    group: str
    text: str
    detail: str
    quantity: Exact
    unit: str
    net: Annotated[Exact, Meta(description="Price before tax.")]
    cost: Annotated[Exact, Meta(description="The business's own; never shown to a party.")]
    tax_code: str
    tax_category: str
    tax_rate: Annotated[Exact, Meta(description="Percent.")]
    tax_label: str
    shares: Shares
    licensed_removal: str = ""


class LineSide(Value, frozen=True):
    """A line before or after a variation."""

    text: str
    detail: str
    quantity: Exact
    unit: str
    net: Exact


class DifferenceLine(Line, frozen=True, kw_only=True):
    """A line of a variation. Its net is what is paid more (or given back): after less before."""

    change: Change
    before: LineSide | None
    after: LineSide | None


class ChangedQuantity(Value, frozen=True):
    role: str
    component: str | None
    finish: str | None
    unit: str
    before: Exact
    after: Exact
    difference: Exact


class PlaceChange(Value, frozen=True):
    """A post, bay or gate that differs from the accepted set-out. Only a moved one has chainages."""

    kind: PlaceKind
    id: str
    change: Literal["added", "removed", "moved", "changed"]
    before_mm: int | None = None
    after_mm: int | None = None


class PartChange(Value, frozen=True):
    """A run or retrofit that differs from the accepted set-out. Length and form are before and after, if they differ."""

    part: Annotated[str, Meta(description="Name of the run or retrofit.")]
    change: Change
    places: tuple[PlaceChange, ...]
    length_mm: tuple[int | None, int | None] | None = None
    form: tuple[str | None, str | None] | None = None


class SetOutChange(Value, frozen=True):
    """Changes of the set-out, run by run."""

    system: Annotated[bool, Meta(description="Whether the fence system changed.")]
    parts: tuple[PartChange, ...]


class AcceptedRevision(Value, frozen=True):
    revision: int
    content_sha256: str


class Difference(Value, frozen=True):
    """Of a variation: its lines, compared with the accepted revision."""

    accepted: AcceptedRevision
    lines: tuple[DifferenceLine, ...]
    quantities: tuple[ChangedQuantity, ...]
    set_out: SetOutChange


class Drawings(Value, frozen=True):
    """Drawings of a build; each is one SVG text."""

    plan: tuple[str, ...]
    elevation: tuple[str, ...]
    set_out: tuple[str, ...]
    detail: tuple[str, ...]
    curves: tuple[str, ...]
    phone_drawings: Annotated[tuple[str, ...], Meta(description="Plan and elevations in rows for a phone.")]


class Cautions(Value, frozen=True):
    """Cautions of a build by reader."""

    customer: tuple[str, ...]
    crew: tuple[str, ...]
    supplier: tuple[str, ...]
    owner: tuple[str, ...]


class Build(Value, frozen=True):
    """The fence as measured (its key is ``base``) or an alternative.

    ``measure`` has every default filled in: each run, gate and retrofit names all it has, and there are no defaults.
    ``measure_sha256`` is the digest of the typed measure. ``finishes``: names of the business by code.
    ``licensed_removals``: hazardous kinds of old fence; true: a line prices their removal by a licensed contractor.
    """

    key: str
    label: str
    measure: Annotated[EngineDocument, Meta(extra_json_schema={"required": ["runs", "retrofits"]})]
    measure_sha256: str
    system: EngineDocument
    system_version: int
    finishes: Mapping[str, str]
    takeoff: EngineDocument
    takeoff_sha256: str
    suggested_changes: tuple[PricedChange, ...]
    drawings: Drawings
    cautions: Cautions
    stops: tuple[str, ...]
    lines: tuple[Line, ...]
    job_shares: Shares
    costing: tuple[Costing, ...]
    buying: BuyingCosts
    licensed_removals: Mapping[str, bool]


class Option(Value, frozen=True):
    key: str
    label: str
    detail: str
    lines: tuple[Line, ...]


class Payment(Value, frozen=True):
    key: str
    label: str
    percent: Exact
    milestone: Due


class Override(Value, frozen=True):
    """Reason why it was sent with must-fix notices."""

    reason: str
    user: str
    stops: tuple[str, ...]


class Content(Value, frozen=True):
    """Everything a sent revision states. Money and quantities are decimals as text, lengths whole millimetres.

    Canonical: sorted members, no spaces; customers accept its SHA-256. Sums for any choices are those of
    quotes.quoting.totals; a party's own document is quotes.quoting.party_documents.party_document.

    ``builds``: the fence as measured, then the alternatives. Of a variation: the whole new fence with all lines that then
    apply.
    """

    schema: Literal["quote-content-2"]
    kind: Literal["quote", "variation"]
    number: str
    revision: int
    label: str
    job: JobName
    dates: Dates
    currency: Annotated[str, Meta(pattern="^[A-Z]{3}$")]
    tax: TaxRules
    business: BusinessProfile
    customer: ContentCustomer
    site: ContentSite
    parties: Annotated[tuple[ContentParty, ...], Meta(min_length=1)]
    builds: Annotated[tuple[Build, ...], Meta(min_length=1)]
    options: tuple[Option, ...]
    difference: Difference | None
    payments: tuple[Payment, ...]
    introduction: str
    terms: str
    override: Override | None


def read_content(text: str) -> Content:
    """Return the content of a revision from its stored text."""
    return to_value(json.loads(text, parse_float=Decimal), Content)


def write_content(content: Content) -> str:
    """Return the canonical text of a content; its digest is that of the revision."""
    return write_canonical(plain(content), exact=True)


if __name__ == "__main__":  # make schemas
    print(json.dumps(json_schema(Content, CONTENT_SCHEMA, TITLE), indent=1))
