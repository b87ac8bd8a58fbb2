"""Totals of a revision, for the whole and for each party, calculated from its content document only.

Every line is shared to the cent by exact fractions. Each party's tax is that of its own net. The whole is the sum of the
parties. There is no database or clock access: the same content and choices always give the same totals.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from fencing.model.faults import Fault, InvalidDocument
from quotes.quoting.content import BASE, Build, Content, Line
from quotes.quoting.json_values import JsonObject
from shared.common.money import (
    Apportionment,
    RoundingRemainder,
    TaxableAmount,
    TaxPolicy,
    TaxSubtotal,
    minor_digits,
    tax_breakdown,
)

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Choices:
    """The selected build and options; by default the base build without options."""

    build: str = BASE
    options: frozenset[str] = frozenset()

    def document(self) -> dict[str, str | list[str]]:
        """Return the choices as they are stored."""
        return {"build": self.build, "options": sorted(self.options)}


NOTHING_CHOSEN = Choices()


@dataclass(frozen=True, slots=True)
class PartyLineShare:
    """A party's part of a line: exact share and amount in whole minor units."""

    line: Line
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

    lines: tuple[Line, ...]
    net: Decimal
    breakdown: tuple[TaxSubtotal, ...]
    tax: Decimal
    total: Decimal
    payments: tuple[Decimal, ...]
    parties: Mapping[str, PartySums]


def read_choices(content: Content, asked: JsonObject | None) -> Choices:
    """Return the requested choices. Raise InvalidDocument if the revision has no such build or option."""
    asked = asked or {}
    build, options = asked.get("build", BASE), asked.get("options", [])
    builds, known = [build.key for build in content.builds], [option.key for option in content.options]
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


def build_of(content: Content, choices: Choices) -> Build:
    """Return the selected build."""
    return next(build for build in content.builds if build.key == choices.build)


def chosen_lines(content: Content, choices: Choices) -> tuple[Line, ...]:
    """Return the lines to pay: those of the selected build or of the variation, then those of the selected options."""
    lines: tuple[Line, ...] = build_of(content, choices).lines
    if content.difference is not None:
        lines = content.difference.lines
    return lines + option_lines(content, choices)


def option_lines(content: Content, choices: Choices) -> tuple[Line, ...]:
    """Return the lines of the selected options."""
    return tuple(line for option in content.options if option.key in choices.options for line in option.lines)


@dataclass(frozen=True, slots=True)
class SumRules:
    """Rules for adding up lines: tax policy, minor units, rounding difference, and the payments' parts of a total (sum 1)."""

    tax: TaxPolicy
    digits: int
    odd: RoundingRemainder
    payments: tuple[Fraction, ...] = ()


def sums(content: Content, choices: Choices = NOTHING_CHOSEN) -> Sums:
    """Return the totals of a revision and of each party for one set of choices, by the rules that it was sent with."""
    tax = content.tax
    policy = TaxPolicy(tax.at, tax.rounding, tax.line_digits, tax.line_rounding)
    payments = tuple(Fraction(row.percent) / 100 for row in content.payments)
    rules = SumRules(policy, minor_digits(content.currency), tax.rounding_difference, payments)
    return sum_lines(chosen_lines(content, choices), [party.key for party in content.parties], rules)


def sum_lines(lines: Sequence[Line], keys: Sequence[str], rules: SumRules) -> Sums:
    """Add up customer lines for the parties ``keys``; all pages and documents use this function.

    Rule: the net of each line is shared by exact fractions; odd cents go by the business's rule, so that the parts add up
    to the line. Each party's tax is calculated by rate on its own net, since each gets a separate document. Payments are
    parts of each party's total. The job's total is the sum of its parties.
    """
    parts = _parts(lines, keys, Apportionment(rules.digits, rules.odd))
    parties = {key: _party(parts[key], rules) for key in keys}
    every = parties.values()
    net, tax = sum((line.net for line in lines), ZERO), sum((item.tax for item in every), ZERO)
    payments = tuple(sum(column, ZERO) for column in zip(*(item.payments for item in every), strict=True))
    return Sums(tuple(lines), net, _together(lines, every), tax, net + tax, payments, parties)


def _parts(lines: Sequence[Line], keys: Sequence[str], sharing: Apportionment) -> dict[str, list[PartyLineShare]]:
    parts: dict[str, list[PartyLineShare]] = {key: [] for key in keys}
    for line in lines:
        # in the order of the parties, so that the "first" party does not depend on the order in a document
        shares = {key: line.shares[key] for key in keys if line.shares.get(key)}
        for key, net in sharing.share(line.net, shares).items():
            parts[key].append(PartyLineShare(line, shares[key], net))
    return parts


def _party(parts: Sequence[PartyLineShare], rules: SumRules) -> PartySums:
    """Return the totals of a party: tax by rate on its own net."""
    taxed = [TaxableAmount(part.net, part.line.tax_category, part.line.tax_rate) for part in parts]
    rows = tax_breakdown(taxed, rules.tax, rules.digits)
    net, tax = sum((part.net for part in parts), ZERO), sum((row.tax for row in rows), ZERO)
    return PartySums(tuple(parts), net, rows, tax, net + tax, _payments(net + tax, rules))


def _together(lines: Sequence[Line], parties: Iterable[PartySums]) -> tuple[TaxSubtotal, ...]:
    """Return the tax rows of the job, in the order of its lines: each the sum of the parties' rows."""
    found = {(line.tax_category, line.tax_rate): (ZERO, ZERO) for line in lines}
    for row in (row for party in parties for row in party.breakdown):
        taxable, tax = found[row.category, row.rate]
        found[row.category, row.rate] = (taxable + row.taxable, tax + row.tax)
    return tuple(TaxSubtotal(*key, *amounts) for key, amounts in found.items())


def _payments(total: Decimal, rules: SumRules) -> tuple[Decimal, ...]:
    if not rules.payments:
        return (total,)
    named = {str(place): part for place, part in enumerate(rules.payments)}
    return tuple(Apportionment(rules.digits, rules.odd).share(total, named).values())
