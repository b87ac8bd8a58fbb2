"""Contents made up for tests: every field has a value, and a test names those that it is about."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

from msgspec.structs import replace

from catalogue.rules.price_rule_lines import Due
from quotes.quoting.content import (
    Build,
    BusinessProfile,
    Cautions,
    Content,
    ContentCustomer,
    ContentParty,
    ContentSite,
    Dates,
    Drawings,
    JobName,
    Line,
    Option,
    Payment,
    TaxRules,
)
from quotes.quoting.content_costs import BuyingCosts, Costing
from quotes.quoting.json_values import EngineDocument, to_value
from shared.common.money import Rounding, RoundingRemainder, TaxRoundingLevel

DAY = date(2031, 3, 4)
PROFILE = {**dict.fromkeys(BusinessProfile.__struct_fields__, ""), "custom_texts": {}}


def some_line(net: str = "1.00", key: str = "A", **changes: Any) -> Line:
    """Return a line that the owner pays, taxed at 10 percent."""
    plain = Line(
        key=key,
        part=key,
        group="fence",
        text=f"Run {key}",
        detail="",
        quantity=Decimal(1),
        unit="MTR",
        net=Decimal(net),
        cost=Decimal(0),
        tax_code="s",
        tax_category="S",
        tax_rate=Decimal(10),
        tax_label="Tax",
        shares={"owner": Fraction(1)},
    )
    return replace(plain, **changes)


def some_costing(text: str, **into: str) -> Costing:
    """Return a cost that is allocated to lines by their key."""
    amounts = {key: Decimal(net) for key, net in into.items()}
    zero = Decimal(0)
    return Costing(text, "cost", "materials", "", text, zero, "C62", zero, zero, "s", "", "", "", amounts)


def some_build(*lines: Line, key: str = "base", **changes: Any) -> Build:
    """Return a build with these lines and nothing else."""
    plain = Build(
        key=key,
        label=key,
        measure=EngineDocument(runs=[], retrofits=[]),
        measure_sha256="",
        system=EngineDocument(),
        system_version=1,
        finishes={},
        takeoff=EngineDocument(runs=[]),
        takeoff_sha256="",
        suggested_changes=(),
        drawings=Drawings((), (), (), (), (), ()),
        cautions=Cautions((), (), (), ()),
        stops=(),
        lines=lines,
        job_shares={},
        costing=(),
        buying=BuyingCosts((), (), Decimal(0)),
        licensed_removals={},
    )
    return replace(plain, **changes)


def some_option(key: str, *lines: Line) -> Option:
    return Option(key, key, "", lines)


def some_payment(percent: str) -> Payment:
    return Payment(percent, percent, Decimal(percent), Due.START)


def some_content(
    *lines: Line,
    keys: tuple[str, ...] = ("owner", "left", "right"),
    at: str = "total",
    odd: str = "fairest",
    rounding: Rounding = Rounding.HALF_UP,
    **changes: Any,
) -> Content:
    """Return a content of these lines for the parties ``keys``."""
    plain = Content(
        schema="quote-content-2",
        kind="quote",
        number="Q0001",
        revision=1,
        label="Fence",
        job=JobName("J0001", "Fence"),
        dates=Dates(datetime(2031, 3, 4, tzinfo=UTC), DAY, DAY, DAY),
        currency="NZD",
        tax=TaxRules(TaxRoundingLevel(at), rounding, None, None, RoundingRemainder(odd)),
        business=to_value(PROFILE, BusinessProfile),
        customer=ContentCustomer(*[""] * 5),
        site=ContentSite(*[""] * 5),
        parties=tuple(ContentParty(key, key, "", "", True, key == keys[0]) for key in keys),
        builds=(some_build(*lines),),
        options=(),
        difference=None,
        payments=(),
        introduction="",
        terms="",
        override=None,
    )
    return replace(plain, **changes)
