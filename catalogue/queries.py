"""Queries of the catalogue: the current records, or those of a day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from django.db.models import Count, Exists, Max, OuterRef, Q, QuerySet, Sum, Value

from catalogue import models
from catalogue.rules.price_rule_lines import RuleKind, RuleLine
from catalogue.rules.price_rules import PriceRules, read_rules
from catalogue.rules.site_words import SiteWords
from fencing.model.faults import Fault, InvalidDocument
from shared.business.business_owned import OwnedQuerySet
from shared.business.models import Business, account
from shared.common.dates import today
from shared.common.money import TaxRoundingLevel
from shared.models import SupplierAccount


def finishes(business: Business) -> OwnedQuerySet[models.Finish]:
    """Return the finishes of a business."""
    return models.Finish.objects.of(business)


def components(business: Business) -> OwnedQuerySet[models.Component]:
    """Return the components of a business."""
    return models.Component.objects.of(business)


def systems(business: Business) -> OwnedQuerySet[models.FenceSystem]:
    """Return the fence systems of a business."""
    return models.FenceSystem.objects.of(business)


def suppliers(business: Business) -> OwnedQuerySet[models.Supplier]:
    """Return the suppliers of a business."""
    return models.Supplier.objects.of(business)


def offers(business: Business) -> OwnedQuerySet[models.SupplierPrice]:
    """Return all supplier prices that a business ever had."""
    return models.SupplierPrice.objects.of(business)


def price_rules(business: Business) -> OwnedQuerySet[models.PriceRule]:
    """Return all lines of the price rules that a business ever had."""
    return models.PriceRule.objects.of(business)


def imports(business: Business) -> OwnedQuerySet[models.Import]:
    """Return the imports of a business, without their files."""
    return models.Import.objects.of(business).defer("content")


Mark = frozenset[tuple[object, ...]]
"""Version that changes with every write to the records of the purchase options."""


def purchase_options_version(business: Business) -> Mark:
    """Return the version of a business's purchase options: one query.

    Every write gives a row its next version and a new time stamp; sums and counts tell what was added and what was removed.
    """
    rows = [
        model.objects.of(business)
        .order_by()
        .values_list(Value(model.__name__))
        .annotate(Count("id"), Sum("id"), Sum("version"), Max("updated_at"))
        for model in (models.Component, models.Finish, models.SupplierPrice, models.Supplier, models.SupplierTerms)
    ]
    return frozenset(rows[0].union(*rows[1:], all=True))


def active_on(rows: QuerySet[models.Component], on: date) -> QuerySet[models.Component]:
    """Components that are sold on a day."""
    begun = Q(available_from__isnull=True) | Q(available_from__lte=on)
    return rows.filter(begun, Q(available_to__isnull=True) | Q(available_to__gte=on))


def valid_on(on: date) -> Q:
    """Return the records that have begun and not ended on a day."""
    return Q(valid_from__lte=on) & (Q(valid_to__isnull=True) | Q(valid_to__gte=on))


def offers_on(rows: QuerySet[models.SupplierPrice], on: date) -> QuerySet[models.SupplierPrice]:
    """Of each supplier's offers for a component, the one that counts on a day."""
    later = models.SupplierPrice.unscoped.filter(  # unscoped: tied to the row's own component, which is of one business
        valid_on(on),
        component=OuterRef("component"),
        supplier=OuterRef("supplier"),
        valid_from__gt=OuterRef("valid_from"),
    )
    return rows.filter(valid_on(on)).filter(~Exists(later))


def rules_on(rows: QuerySet[models.PriceRule], on: date) -> QuerySet[models.PriceRule]:
    """Of each kind and key, the line that counts on a day."""
    later = models.PriceRule.unscoped.filter(  # unscoped: tied to the row's own business
        valid_on(on),
        business=OuterRef("business"),
        kind=OuterRef("kind"),
        applies_to=OuterRef("applies_to"),
        valid_from__gt=OuterRef("valid_from"),
    )
    return rows.filter(valid_on(on)).filter(~Exists(later))


def terms_that_count(rows: QuerySet[models.SupplierTerms], on: date) -> QuerySet[models.SupplierTerms]:
    """Of each supplier, the terms that count on a day."""
    later = models.SupplierTerms.unscoped.filter(  # unscoped: tied to the row's own supplier, which is of one business
        supplier=OuterRef("supplier"), valid_from__lte=on, valid_from__gt=OuterRef("valid_from")
    )
    return rows.filter(valid_from__lte=on).filter(~Exists(later))


def terms_on(business: Business, on: date) -> dict[int, models.SupplierTerms]:
    """Return the terms of each supplier valid on a day, by the supplier's id."""
    rows = models.SupplierTerms.objects.of(business).filter(valid_from__lte=on).order_by("valid_from")
    return {row.supplier_id: row for row in rows}


def rule_lines(rows: Iterable[models.PriceRule]) -> list[RuleLine]:
    """Rows of price rules as values."""
    return [
        RuleLine(row.kind, row.applies_to, row.value, row.option, row.label, row.valid_from, row.valid_to)
        for row in rows
    ]


def price_rules_on(business: Business, on: date | None = None, supplied: date | None = None) -> PriceRules:
    """Return the price rules of a day, with the tax of the day of supply. One query."""
    rules = read_rules(
        rule_lines(price_rules(business).order_by("id")),
        currency=business.currency,
        on=on or today(business),
        supplied=supplied,
        tax_at=TaxRoundingLevel(business.tax_rounding),
    )
    usual = {name: code for name in ("labour", "sales") if (code := account(business, name))}
    return replace(rules, accounts={**usual, **rules.accounts})


def site_words_on(business: Business, on: date | None = None) -> SiteWords:
    """Return the soils and kinds of old fence in the price rules of a day. One query."""
    rows = price_rules(business).filter(kind__in=(RuleKind.LABOUR, RuleKind.DISPOSAL)).order_by("id")
    return read_rules(rule_lines(rows), currency=business.currency, on=on or today(business)).words


def default_system(business: Business) -> models.FenceSystem:
    """Return the default fence system for measures. Raise if there is none."""
    found = systems(business).filter(is_default=True, active=True).first()
    if found is None:
        raise InvalidDocument([Fault("/system", "system.default", "No fence system is the default; name one.")])
    return found


def system_version(business: Business, code: str, number: int | None = None) -> models.FenceSystemVersion:
    """Return a version of a fence system, by default the latest. Raise if there is none of that code."""
    named = [] if "\x00" in code else [code]  # PostgreSQL takes no text with a NUL, not even to look for
    rows = models.FenceSystemVersion.objects.of(business).select_related("system").filter(system__code__in=named)
    found = (rows if number is None else rows.filter(number=number)).order_by("-number").first()
    if found is None:
        known = ", ".join(systems(business).filter(active=True).order_by("code").values_list("code", flat=True)[:20])
        raise InvalidDocument(
            [Fault("/system", "system.unknown", f"There is no such fence system; there are: {known or 'none'}.")]
        )
    return found


def suppliers_of(account: SupplierAccount, *, test: bool) -> QuerySet[models.Supplier]:
    """Return the supplier records of an account in each business it serves; for a sandbox key, only its sandbox."""
    rows = models.Supplier.unscoped.filter(  # unscoped: a supplier's own rows, in every business
        account=account, active=True
    )
    return rows.filter(business__sandbox__isnull=not test)


def offers_of(account: SupplierAccount, *, test: bool) -> QuerySet[models.SupplierPrice]:
    """Return a supplier's own prices in every business it serves; for a sandbox key, only those of its sandbox."""
    rows = models.SupplierPrice.unscoped.filter(  # unscoped: a supplier's own offers, in every business
        supplier__account=account
    )
    return rows.filter(business__sandbox__isnull=not test)
