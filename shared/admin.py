"""The kernel in Django's admin: businesses, people and keys to edit, the audit trail and the outbox to read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.http import HttpRequest

from shared.audit import AuditEntry
from shared.business.models import ApiKey, Business, Member, Person, SupplierAccount
from shared.letters import Letter
from shared.outbox import Event, Wanted

if TYPE_CHECKING:
    ModelAdmin = admin.ModelAdmin[Any]
    TabularInline = admin.TabularInline[Any, Any]
    PeopleAdmin = UserAdmin[Any]
else:  # Django's own classes take no type arguments when they run
    ModelAdmin, TabularInline, PeopleAdmin = admin.ModelAdmin, admin.TabularInline, UserAdmin


class ReadOnly(ModelAdmin):
    """To look at, not to change."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class MemberInline(TabularInline):
    model = Member
    extra = 0
    autocomplete_fields = ("person",)


@admin.register(Business)
class BusinessAdmin(ModelAdmin):
    ordering = ("name", "id")
    list_display = ("name", "place", "country", "currency", "suspended_at")
    search_fields = ("name",)
    inlines = (MemberInline,)


@admin.register(Person)
class PersonAdmin(PeopleAdmin):
    ordering = ("email",)
    list_display = ("email", "name", "is_active", "is_staff")
    search_fields = ("email", "name")
    fieldsets = ((None, {"fields": ("email", "name", "password", "is_active", "is_staff", "is_superuser")}),)
    add_fieldsets = ((None, {"fields": ("email", "name", "password1", "password2")}),)
    filter_horizontal = ()
    list_filter = ("is_active", "is_staff")


@admin.register(SupplierAccount)
class SupplierAccountAdmin(ModelAdmin):
    ordering = ("name", "id")
    list_display = ("name", "email", "suspended_at")
    search_fields = ("name",)


@admin.register(ApiKey)
class ApiKeyAdmin(ReadOnly):
    list_display = ("name", "prefix", "business", "supplier_account", "expires_at", "revoked_at", "last_used_at")


@admin.register(AuditEntry)
class AuditEntryAdmin(ReadOnly):
    list_display = ("business", "number", "at", "actor_name", "action", "subject")
    list_filter = ("business", "action")
    search_fields = ("subject",)


@admin.register(Event)
class EventAdmin(ReadOnly):
    list_display = ("kind", "subject", "business", "created_at")
    list_filter = ("kind",)


@admin.register(Letter)
class LetterAdmin(ReadOnly):
    list_display = ("name", "event", "state", "message_id", "claimed_at", "sent_at")
    list_filter = ("state", "name")


@admin.register(Wanted)
class WantedAdmin(ReadOnly):
    list_display = ("event", "handler", "state", "starts", "due_at", "last_fault")
    list_filter = ("state", "handler")
    actions = ("try_again",)

    @admin.action(description="Try again what was given up")
    def try_again(self, request: HttpRequest, rows: Any) -> None:
        """Makes dead rows wanted again; the sweep finds them."""
        rows.filter(state="dead").update(state="wanted", starts=0, leased_until=None)
