"""The catalogue in Django's admin: all records can be edited, except past prices; each change records its user."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar

from django import forms
from django.contrib import admin, messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from catalogue import models, services
from fencing.model.faults import InvalidDocument
from fencing.reading.system import read_system
from shared.admin import staff_actor
from shared.business.business_owned import BusinessOwned, reject_cross_business_links
from shared.common.dates import today

if TYPE_CHECKING:
    ModelAdmin = admin.ModelAdmin[Any]
    ModelForm = forms.ModelForm[Any]
else:  # Django's own classes take no type arguments when they run
    ModelAdmin, ModelForm = admin.ModelAdmin, forms.ModelForm


class RowForm(ModelForm):
    """Refuses links to another business's rows as a fault of the form."""

    def _post_clean(self) -> None:
        super()._post_clean()  # type: ignore[misc]  # Django's own hook, not in the stubs
        if self.instance.business_id is None:
            return
        try:
            reject_cross_business_links([self.instance])
        except ValidationError as fault:
            self.add_error(None, fault)


class RowAdmin(ModelAdmin):
    """Writes through the services, so that the audit trail tells of it."""

    form = RowForm
    list_filter: ClassVar[tuple[Any, ...]] = ("business",)
    readonly_fields: ClassVar[tuple[str, ...]] = ("ref", "version", "created_at", "updated_at")

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return (*self.readonly_fields, "business") if obj else self.readonly_fields

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        names = form.changed_data if change else [name for name in form.cleaned_data if name != "business"]
        values = {name: form.cleaned_data[name] for name in names}
        stored = (
            type(obj).unscoped.get(pk=obj.pk) if change else type(obj)(business=obj.business)
        )  # unscoped: the admin is for all
        kept = services.store(stored, actor=staff_actor(request), values=values)
        obj.pk, obj.version = kept.pk, kept.version
        obj._state.adding = False

    def delete_model(self, request: HttpRequest, obj: BusinessOwned) -> None:
        services.remove(obj, actor=staff_actor(request))

    def get_actions(self, request: HttpRequest) -> dict[str, Any]:
        actions = super().get_actions(request)
        actions.pop("delete_selected", None)  # it would go past the audit trail
        return actions


class DatedForm(RowForm):
    """A price begins today or later."""

    def clean_valid_from(self) -> Any:
        """Return the day it begins."""
        day = self.cleaned_data["valid_from"]
        if "valid_from" in self.changed_data and self._is_past(day):
            raise ValidationError("A price can't begin in the past.", code="past")
        return day

    def clean_valid_to(self) -> Any:
        """Return the day it ends."""
        day = self.cleaned_data["valid_to"]
        if "valid_to" in self.changed_data and self._is_past(day):
            raise ValidationError("It can't end in the past: past days keep their prices.", code="past")
        return day

    def _is_past(self, day: date | None) -> bool:
        """Return whether a day is over where the business is; without a business the form is refused for that."""
        business = self.cleaned_data.get("business") or (self.instance.business if self.instance.pk else None)
        return day is not None and business is not None and day < today(business)


class DatedAdmin(RowAdmin):
    """A dated record: one that has begun can only get an end."""

    form = DatedForm
    date_hierarchy = "valid_from"
    kept: tuple[str, ...] = ()

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        fixed = super().get_readonly_fields(request, obj)
        return (*fixed, *self.kept) if obj is not None and obj.begun else fixed

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return super().has_delete_permission(request, obj) and not (obj is not None and obj.begun)


@admin.register(models.Finish)
class FinishAdmin(RowAdmin):
    ordering = ("code", "id")
    list_display = ("code", "name", "drawing_colour", "active", "business")
    search_fields = ("code", "name")


@admin.register(models.Component)
class ComponentAdmin(RowAdmin):
    ordering = ("sku", "id")
    list_display = ("sku", "name", "role", "finish", "length_mm", "sale_unit", "pack_size", "business")
    list_filter = ("business", "role", "finish")
    list_select_related = ("finish", "business")
    search_fields = ("sku", "name")
    autocomplete_fields = ("finish",)


@admin.register(models.Supplier)
class SupplierAdmin(RowAdmin):
    ordering = ("code", "id")
    list_display = ("code", "name", "account", "preferred", "active", "business")
    search_fields = ("code", "name")
    autocomplete_fields = ("account",)


@admin.register(models.SupplierTerms)
class SupplierTermsAdmin(DatedAdmin):
    kept = ("supplier", "valid_from", "minimum_order", "delivery_fees", "lead_time_days")
    list_display = ("supplier", "valid_from", "minimum_order", "lead_time_days", "business")
    autocomplete_fields = ("supplier",)


@admin.register(models.SupplierPrice)
class OfferAdmin(DatedAdmin):
    ordering = ("-id",)
    kept = (
        "component", "supplier", "supplier_sku", "price", "price_breaks", "pack_size", "minimum_quantity",
        "lead_time_days", "valid_from",
    )  # fmt: skip
    list_display = ("component", "supplier", "price", "pack_size", "valid_from", "valid_to", "business")
    list_filter = ("business", "supplier")
    list_select_related = ("component", "supplier", "business")
    search_fields = ("component__sku", "supplier__code")
    autocomplete_fields = ("component", "supplier")


@admin.register(models.PriceRule)
class PriceRuleAdmin(DatedAdmin):
    ordering = ("-id",)
    fieldsets = (
        (
            None,
            {
                "description": (
                    "Markup: key materials, labour … or a role, amount in percent, choice markup (on cost) or margin (of price). "
                    "Labour: key dig, dig.clay, erect.1800, gate.double …, amount is the rate. "
                    "Tax: key is the code, amount the rate in percent, choice the category (S, Z, E …). "
                    "Payment: amount in percent, choice acceptance, start, posts_set or completion; together 100. "
                    "A new rate is a new line from a later day."
                ),
                "fields": ("business", "kind", "applies_to", "value", "option", "label", "valid_from", "valid_to"),
            },
        ),
        ("Record", {"classes": ("collapse",), "fields": ("ref", "version", "created_at", "updated_at")}),
    )
    kept = ("kind", "applies_to", "value", "option", "label", "valid_from")
    list_display = ("kind", "applies_to", "value", "option", "label", "valid_from", "valid_to", "business")
    list_filter = ("business", "kind")
    search_fields = ("applies_to", "label")


class SystemForm(RowForm):
    """A fence system with the document of its next version."""

    document = forms.JSONField(widget=forms.Textarea(attrs={"rows": 40, "cols": 100}))

    class Meta:
        model = models.FenceSystem
        fields = ("business", "active")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            latest = self.instance.versions.order_by("-number").first()
            self.fields["document"].initial = latest.document if latest else None

    def clean_document(self) -> Any:
        """Return the document, if the engine can read it."""
        document = self.cleaned_data["document"]
        try:
            code = read_system(document).code
        except InvalidDocument as refused:
            raise ValidationError([f"{fault.pointer}: {fault.text}" for fault in refused.faults]) from None
        if self.instance.pk and code != self.instance.code:
            raise ValidationError(f"This fence system's code is {self.instance.code} and stays so.")
        return document


@admin.register(models.FenceSystem)
class FenceSystemAdmin(RowAdmin):
    ordering = ("code", "id")
    form = SystemForm
    list_display = ("code", "label", "latest_version", "is_default", "active", "business")
    readonly_fields = ("ref", "code", "label", "latest_version", "is_default")
    actions = ("make_default",)

    @admin.action(description="Make it the one that measures get when they name none")
    def make_default(self, request: HttpRequest, rows: Any) -> None:
        """One system of each business."""
        chosen = list(rows.select_related("business"))
        if len({row.business_id for row in chosen}) < len(chosen):
            self.message_user(request, "Choose one system of a business.", messages.ERROR)
            return
        for row in chosen:
            services.change_system(system=row, actor=staff_actor(request), values={"is_default": True, "active": True})

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        actor, document = staff_actor(request), form.cleaned_data["document"]
        stored = models.FenceSystem.unscoped.get(pk=obj.pk) if change else None  # unscoped: the admin is for all
        version = services.store_system(business=obj.business, actor=actor, document=document, system=stored)
        system = services.change_system(
            system=version.system, actor=actor, values={"active": form.cleaned_data["active"]}
        )
        obj.pk, obj.version, obj._state.adding = system.pk, system.version, False


class _ReadOnly(ModelAdmin):
    """To look at, not to change."""

    list_filter = ("business",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(models.FenceSystemVersion)
class FenceSystemVersionAdmin(_ReadOnly):
    list_display = ("system", "number", "sha256", "created_at", "business")


@admin.register(models.Import)
class ImportAdmin(_ReadOnly):
    list_display = ("file_name", "kind", "state", "rows_done", "rows_total", "requested_by", "created_at", "business")
    exclude = ("content",)
