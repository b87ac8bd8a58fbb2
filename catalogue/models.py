"""Models of the catalogue: finishes, components, fence systems, suppliers, supplier prices, price rules."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator, RegexValidator
from django.db import models
from django.db.models import F, Q

from catalogue.rules.codes import SALE_UNITS, ImportKind, ImportState, PlanState, is_gtin, role_choices, whole_fault
from catalogue.rules.price_bands import bands_fault
from catalogue.rules.price_rule_lines import RuleKind, rule_faults
from catalogue.rules.site_words import rule_key
from fencing.model.roles import BAG, CUT_ROLES
from shared.common.dates import today
from shared.models import BusinessOwned, SupplierAccount

CODE = RegexValidator(r"^[a-z0-9][a-z0-9._-]*\Z", "Small letters, digits, dot, hyphen and underline, no spaces.")
NOT_NEGATIVE = MinValueValidator(Decimal(0))
SOMETHING = MinValueValidator(Decimal("0.001"))


def check_gtin(value: str) -> None:
    """ValidationError unless the check digit is right."""
    if not is_gtin(value):
        raise ValidationError("A GTIN has 8, 12, 13 or 14 digits and ends in its check digit.", code="gtin")


def check_bands(value: Any, field: str, *, from_zero: bool) -> None:
    """ValidationError for ``field`` unless it holds bands."""
    fault = bands_fault(value, from_zero=from_zero)
    if fault:
        raise ValidationError({field: fault})


class Finish(BusinessOwned):
    """A finish or colour the business sells, by the name it gives it."""

    code = models.CharField(max_length=40, validators=[CODE])
    name = models.CharField(max_length=80)
    drawing_colour = models.CharField(
        max_length=7,
        blank=True,
        validators=[RegexValidator(r"^#[0-9a-f]{6}\Z", "A colour for drawings, such as #445566.")],
    )
    active = models.BooleanField(default=True)

    class Meta:
        verbose_name_plural = "finishes"
        constraints = [models.UniqueConstraint(fields=["business", "code"], name="finish_code_once")]

    def __str__(self) -> str:
        return self.name


def _refuse_parts(unit: str, **quantities: Decimal) -> None:
    """Refuse packs and minimum quantities that hold a part of a counted unit."""
    faults = {
        name: fault.text
        for name, value in quantities.items()
        if isinstance(value, Decimal) and (fault := whole_fault(unit, value, name))
    }
    if faults:
        raise ValidationError(faults)


class Component(BusinessOwned):
    """Something the catalogue sells for a role. Each stock length in each finish is a component of its own."""

    sku = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    role = models.CharField(max_length=20, choices=role_choices)
    finish = models.ForeignKey(Finish, on_delete=models.PROTECT, null=True, blank=True, related_name="components")
    length_mm = models.PositiveIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])
    width_mm = models.PositiveIntegerField(null=True, blank=True)
    height_mm = models.PositiveIntegerField(null=True, blank=True)
    sale_unit = models.CharField(max_length=3, choices=list(SALE_UNITS.items()), default="C62")
    pack_size = models.DecimalField(max_digits=10, decimal_places=3, default=Decimal(1), validators=[SOMETHING])
    gtin = models.CharField("GTIN", max_length=14, blank=True, validators=[check_gtin])
    mass_kg = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True, validators=[NOT_NEGATIVE])
    bag_yield_m3 = models.DecimalField(max_digits=8, decimal_places=5, null=True, blank=True, validators=[NOT_NEGATIVE])
    account_code = models.CharField(max_length=40, blank=True)
    available_from = models.DateField(null=True, blank=True)
    available_to = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "sku"], name="component_sku_once"),
            models.CheckConstraint(condition=Q(pack_size__gt=0), name="component_pack_above_0"),
            models.CheckConstraint(
                condition=Q(available_to__isnull=True)
                | Q(available_from__isnull=True)
                | Q(available_to__gte=F("available_from")),
                name="component_ends_after_it_begins",
            ),
        ]
        indexes = [models.Index(fields=["business", "role", "finish", "length_mm"], name="component_by_role")]

    def __str__(self) -> str:
        return f"{self.sku} {self.name}"

    def clean(self) -> None:
        """Check fields against each other."""
        if self.role in CUT_ROLES and self.length_mm is None and self.sale_unit != "MTR":
            raise ValidationError({"length_mm": "Enter a stock length in mm, or MTR as sale unit."})
        if self.role == BAG and not self.bag_yield_m3:
            raise ValidationError({"bag_yield_m3": "How much concrete one bag makes, in m3."})
        _refuse_parts(self.sale_unit, pack_size=self.pack_size)


class FenceSystem(BusinessOwned):
    """A fence system by its code; its versions hold its documents."""

    code = models.CharField(max_length=60, validators=[CODE])
    label = models.CharField(max_length=200)
    is_default = models.BooleanField(default=False)
    active = models.BooleanField(default=True)
    latest_version = models.PositiveIntegerField(default=0, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "code"], name="fence_system_code_once"),
            models.UniqueConstraint(fields=["business"], condition=Q(is_default=True), name="fence_system_one_default"),
        ]

    def __str__(self) -> str:
        return self.code


class FenceSystemVersion(BusinessOwned):
    """A fence system's document as it stood. Never changed: an edit is the next version."""

    system = models.ForeignKey(FenceSystem, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    document = models.JSONField()
    sha256 = models.CharField(max_length=64, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "system", "number"], name="fence_system_version_once")
        ]
        ordering = ["system", "-number"]

    def __str__(self) -> str:
        return f"{self.system} v{self.number}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise ValidationError("A version of a fence system is never changed; store the next one.")
        super().save(*args, **kwargs)


class Supplier(BusinessOwned):
    """Somebody the business buys from. ``account`` lets the supplier's own system in, for its own orders and offers."""

    code = models.CharField(max_length=40, validators=[CODE])
    name = models.CharField(max_length=120)
    account = models.ForeignKey(
        SupplierAccount, on_delete=models.SET_NULL, null=True, blank=True, related_name="suppliers"
    )
    email = models.EmailField("e-mail", blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(max_length=500, blank=True)
    country = models.CharField(
        max_length=2, blank=True, validators=[RegexValidator(r"^[A-Z]{2}\Z", "ISO 3166-1, two letters.")]
    )
    gln = models.CharField("GLN", max_length=13, blank=True, validators=[check_gtin])
    registration_number = models.CharField(max_length=60, blank=True)
    tax_number = models.CharField(max_length=60, blank=True)
    customer_number = models.CharField("our number there", max_length=60, blank=True)
    preferred = models.BooleanField(default=False)
    active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "code"], name="supplier_code_once"),
            models.UniqueConstraint(
                fields=["business", "account"], condition=Q(account__isnull=False), name="supplier_account_once"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class SupplierTerms(BusinessOwned):
    """Terms of a supplier for all orders from a date: ``delivery`` is [[order value from, fee], ...], ascending."""

    supplier = models.ForeignKey(Supplier, on_delete=models.CASCADE, related_name="terms")
    valid_from = models.DateField()
    minimum_order = models.DecimalField(max_digits=14, decimal_places=4, default=Decimal(0), validators=[NOT_NEGATIVE])
    delivery_fees = models.JSONField(default=list, blank=True)
    lead_time_days = models.PositiveSmallIntegerField(default=0)

    class Meta:
        verbose_name_plural = "supplier terms"
        constraints = [
            models.UniqueConstraint(fields=["business", "supplier", "valid_from"], name="supplier_terms_once")
        ]
        ordering = ["supplier", "-valid_from"]

    def __str__(self) -> str:
        return f"{self.supplier} from {self.valid_from}"

    def clean(self) -> None:
        check_bands(self.delivery_fees, "delivery_fees", from_zero=True)

    @property
    def begun(self) -> bool:
        """Return whether an order of a past day used them."""
        return self.valid_from < today(self.business)


class SupplierPrice(BusinessOwned):
    """A supplier's price for a component from a date on; of several the one that began last counts.

    ``price`` and ``breaks`` [[quantity from, price], ...] are for one sale unit. Once an offer has begun only its end may change:
    a new price is a new offer, so what was true on a past day stays true.
    """

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="offers")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="offers")
    supplier_sku = models.CharField(max_length=64, blank=True)
    price = models.DecimalField(max_digits=14, decimal_places=4, validators=[NOT_NEGATIVE])
    price_breaks = models.JSONField(default=list, blank=True)
    pack_size = models.DecimalField(max_digits=10, decimal_places=3, default=Decimal(1), validators=[SOMETHING])
    minimum_quantity = models.DecimalField(
        max_digits=12, decimal_places=3, default=Decimal(0), validators=[NOT_NEGATIVE]
    )
    lead_time_days = models.PositiveSmallIntegerField(null=True, blank=True)
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["business", "supplier", "component", "valid_from"], name="offer_once_from_a_day"
            ),
            models.CheckConstraint(condition=Q(price__gte=0), name="offer_price_not_negative"),
            models.CheckConstraint(condition=Q(pack_size__gt=0), name="offer_pack_above_0"),
            models.CheckConstraint(
                condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from")), name="offer_ends_after_it_begins"
            ),
        ]
        indexes = [models.Index(fields=["business", "component", "valid_from"], name="offer_by_component")]

    def __str__(self) -> str:
        return f"{self.component_id} from {self.supplier_id} at {self.price} since {self.valid_from}"

    def clean(self) -> None:
        check_bands(self.price_breaks, "price_breaks", from_zero=False)
        if self.component_id is not None:
            _refuse_parts(self.component.sale_unit, pack_size=self.pack_size, minimum_quantity=self.minimum_quantity)

    @property
    def begun(self) -> bool:
        """Return whether a past day used it."""
        return self.valid_from < today(self.business)


class PriceRule(BusinessOwned):
    """One line of how the business prices, from a date on; of one kind and key the line that began last counts."""

    kind = models.CharField(max_length=20, choices=[(kind.value, kind.value) for kind in RuleKind])
    applies_to = models.CharField(max_length=80, blank=True)
    value = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    option = models.CharField(max_length=80, blank=True)
    label = models.CharField(max_length=200, blank=True)
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["business", "kind", "applies_to", "valid_from"], name="price_rule_once_from_a_day"
            ),
            models.CheckConstraint(
                condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from")),
                name="price_rule_ends_after_it_begins",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.applies_to}".strip()

    def clean(self) -> None:
        self.applies_to = rule_key(self.kind, self.applies_to)
        faults = rule_faults(self.kind, self.applies_to, self.value, self.option)
        if faults:
            raise ValidationError(dict(faults))

    @property
    def begun(self) -> bool:
        """Return whether a past day used it."""
        return self.valid_from < today(self.business)


class Import(BusinessOwned):
    """An import of components, supplier prices or price rules; the background task works from this record."""

    kind = models.CharField(max_length=20, choices=[(kind.value, kind.value) for kind in ImportKind])
    state = models.CharField(
        max_length=10, choices=[(state.value, state.value) for state in ImportState], default=ImportState.WAITING
    )
    file_name = models.CharField(max_length=200)
    content = models.BinaryField()
    requested_by = models.CharField(max_length=200, blank=True)
    rows_total = models.PositiveIntegerField(null=True, blank=True)
    rows_done = models.PositiveIntegerField(default=0)
    report = models.JSONField(default=dict, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.file_name} ({self.state})"


class AskedPlan(BusinessOwned):
    """A cutting plan made in the background; the record holds the best plan so far."""

    state = models.CharField(
        max_length=10, choices=[(state.value, state.value) for state in PlanState], default=PlanState.WAITING
    )
    demand = models.JSONField()
    seconds = models.PositiveSmallIntegerField()
    requested_by = models.CharField(max_length=200, blank=True)
    is_cancelled = models.BooleanField(default=False)
    plan = models.JSONField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"cutting plan ({self.state})"
