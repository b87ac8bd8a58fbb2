"""Totals of a revision, for the whole and for each party, calculated from its content document only.

Every line is shared to the cent by exact fractions. Each party's tax is that of its own net. The whole is the sum of the
parties. There is no database or clock access: the same content and choices always give the same totals.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from fencing.model.faults import Fault, InvalidDocument
from shared.common.money import (
    Apportionment,
    Rounding,
    RoundingRemainder,
    TaxableAmount,
    TaxPolicy,
    TaxRoundingLevel,
    TaxSubtotal,
    minor_digits,
    tax_breakdown,
)

Content = Mapping[str, Any]
ZERO = Decimal(0)
BASE = "base"


@dataclass(frozen=True, slots=True)
class Choices:
    """The selected build and options; by default the base build without options."""

    build: str = BASE
    options: frozenset[str] = frozenset()

    def document(self) -> dict[str, Any]:
        return {"build": self.build, "options": sorted(self.options)}


NOTHING_CHOSEN = Choices()


@dataclass(frozen=True, slots=True)
class PartyLineShare:
    """A party's part of a line: exact share and amount in whole minor units."""

    line: Mapping[str, Any]
    share: Fraction
    net: Decimal


@dataclass(frozen=True, slots=True)
class PartySums:
    """Totals of one party. ``net`` is the sum of its lines, ``tax`` of its tax rows; ``payments`` add up to ``total``."""

    lines: tuple[PartyLineShare, ...]
    net: Decimal
    breakdown: tuple[TaxSubtotal, ...]
    tax: Decimal
    total: Decimal
    payments: tuple[Decimal, ...]


@dataclass(frozen=True, slots=True)
class Sums:
    """Totals of a revision and of its parties: each total is the sum of the parties' totals."""

    lines: tuple[Mapping[str, Any], ...]
    net: Decimal
    breakdown: tuple[TaxSubtotal, ...]
    tax: Decimal
    total: Decimal
    payments: tuple[Decimal, ...]
    parties: Mapping[str, PartySums]


def read_choices(content: Content, asked: Mapping[str, Any] | None) -> Choices:
    """Return the requested choices. Raise InvalidDocument if the revision has no such build or option."""
    asked = asked or {}
    build, options = asked.get("build", BASE), asked.get("options", [])
    builds, known = [item["key"] for item in content["builds"]], [option["key"] for option in content["options"]]
    faults = []
    if build not in builds:
        faults.append(Fault("/choices/build", "build.unknown", f"Choose from: {', '.join(builds)}."))
    for place, key in enumerate(options):
        if key not in known:
            text = f"Choose from: {', '.join(known)}." if known else "This quote has no options."
            faults.append(Fault(f"/choices/options/{place}", "option.unknown", text))
    if faults:
        raise InvalidDocument(faults)
    return Choices(build, frozenset(options))


def chosen_lines(content: Content, choices: Choices) -> tuple[Mapping[str, Any], ...]:
    """Return the lines to pay: those of the selected build or of the variation, then those of the selected options."""
    if content["difference"] is not None:
        lines = list(content["difference"]["lines"])
    else:
        lines = list(next(build["lines"] for build in content["builds"] if build["key"] == choices.build))
    for option in content["options"]:
        if option["key"] in choices.options:
            lines += option["lines"]
    return tuple(lines)


def tax_rounding(content: Content) -> TaxPolicy:
    """Return the tax policy that the revision was sent with."""
    tax = content["tax"]
    by_line = tax["line_rounding"]
    return TaxPolicy(
        TaxRoundingLevel(tax["at"]),
        Rounding(tax["rounding"]),
        tax["line_digits"],
        Rounding(by_line) if by_line is not None else None,
    )


@dataclass(frozen=True, slots=True)
class SumRules:
    """Rules for adding up lines: tax policy, minor units, rounding difference, and the payments' parts of a total (sum 1)."""

    tax: TaxPolicy
    digits: int
    odd: RoundingRemainder
    payments: tuple[Fraction, ...] = ()


def sum_rules(content: Content) -> SumRules:
    """Return the rules that a revision was sent with."""
    percents = tuple(Fraction(Decimal(row["percent"])) / 100 for row in content["payments"])
    return SumRules(
        tax_rounding(content),
        minor_digits(content["currency"]),
        RoundingRemainder(content["tax"]["rounding_difference"]),
        percents,
    )


def sums(content: Content, choices: Choices = NOTHING_CHOSEN) -> Sums:
    """Return the totals of a revision and of each party for one set of choices; see ``sum_lines``."""
    keys = [party["key"] for party in content["parties"]]
    return sum_lines(chosen_lines(content, choices), keys, sum_rules(content))


def sum_lines(lines: Sequence[Mapping[str, Any]], keys: Sequence[str], rules: SumRules) -> Sums:
    """Add up customer lines for the parties ``keys``; all pages and documents use this function.

    Rule: the net of each line is shared by exact fractions; odd cents go by the business's rule, so that the parts add up
    to the line. Each party's tax is calculated by rate on its own net, since each gets a separate document. Payments are
    parts of each party's total. The job's total is the sum of its parties.
    """
    parts = _parts(lines, keys, Apportionment(rules.digits, rules.odd))
    parties = {key: _party(parts[key], rules) for key in keys}
    every = parties.values()
    net, tax = sum((_amount(line) for line in lines), ZERO), sum((item.tax for item in every), ZERO)
    payments = tuple(sum(column, ZERO) for column in zip(*(item.payments for item in every), strict=True))
    return Sums(tuple(lines), net, _together(lines, every), tax, net + tax, payments, parties)


def _amount(line: Mapping[str, Any]) -> Decimal:
    return Decimal(line["net"])


def _shares(line: Mapping[str, Any]) -> dict[str, Fraction]:
    return {key: Fraction(share) for key, share in line["shares"].items()}


def _parts(
    lines: Sequence[Mapping[str, Any]], keys: Sequence[str], sharing: Apportionment
) -> dict[str, list[PartyLineShare]]:
    parts: dict[str, list[PartyLineShare]] = {key: [] for key in keys}
    for line in lines:
        named = _shares(line)
        # in the order of the parties, so that the "first" party does not depend on the order in a document
        shares = {key: named[key] for key in keys if named.get(key)}
        for key, net in sharing.share(_amount(line), shares).items():
            parts[key].append(PartyLineShare(line, shares[key], net))
    return parts


def _party(parts: Sequence[PartyLineShare], rules: SumRules) -> PartySums:
    """Return the totals of a party: tax by rate on its own net."""
    taxed = [TaxableAmount(part.net, part.line["tax_category"], Decimal(part.line["tax_rate"])) for part in parts]
    rows = tax_breakdown(taxed, rules.tax, rules.digits)
    net, tax = sum((part.net for part in parts), ZERO), sum((row.tax for row in rows), ZERO)
    return PartySums(tuple(parts), net, rows, tax, net + tax, _payments(net + tax, rules))


def _together(lines: Sequence[Mapping[str, Any]], parties: Iterable[PartySums]) -> tuple[TaxSubtotal, ...]:
    """Return the tax rows of the job, in the order of its lines: each the sum of the parties' rows."""
    found = {(line["tax_category"], Decimal(line["tax_rate"])): (ZERO, ZERO) for line in lines}
    for row in (row for party in parties for row in party.breakdown):
        taxable, tax = found[row.category, row.rate]
        found[row.category, row.rate] = (taxable + row.taxable, tax + row.tax)
    return tuple(TaxSubtotal(*key, *amounts) for key, amounts in found.items())


def _payments(total: Decimal, rules: SumRules) -> tuple[Decimal, ...]:
    if not rules.payments:
        return (total,)
    named = {str(place): part for place, part in enumerate(rules.payments)}
    return tuple(Apportionment(rules.digits, rules.odd).share(total, named).values())
