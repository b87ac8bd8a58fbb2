"""Django admin of businesses, people and keys, with read-only pages for the audit log and the outbox."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import admin, messages
from django.http import HttpRequest

from fencing.model.faults import InvalidDocument
from shared.background.outbox import Event, OutboxTask, TaskState
from shared.background.outgoing_mail import OutgoingMail
from shared.business.actors import Actor
from shared.business.models import ApiKey, Business, Member, Person, SupplierAccount
from shared.business.roles import BUSINESS_SCOPES, MemberRole
from shared.database.audit_log import AuditEntry
from shared.members import invitations, services

if TYPE_CHECKING:
    ModelAdmin = admin.ModelAdmin[Any]
    TabularInline = admin.TabularInline[Any, Any]
    BusinessModelForm = forms.ModelForm[Business]
    PersonModelForm = forms.ModelForm[Person]
else:  # Django's own classes take no type arguments when they run
    ModelAdmin, TabularInline = admin.ModelAdmin, admin.TabularInline
    BusinessModelForm = PersonModelForm = forms.ModelForm


def staff_actor(request: HttpRequest) -> Actor:
    """Return the person who works in the admin."""
    if not isinstance(request.user, Person):
        raise TypeError("sign in to use the admin")
    return Actor("person", request.user.ref, str(request.user), BUSINESS_SCOPES)


class ReadOnly(ModelAdmin):
    """Read-only admin."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Return False."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Return False."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Return False."""
        return False


class MemberInline(TabularInline):
    """Read-only list of members. Invite them on the page of the business, or with the form below."""

    model = Member
    extra = 0
    fields = readonly_fields = ("person", "role", "accepted_at")

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class BusinessForm(BusinessModelForm):
    """Form of a business, with an invitation by e-mail."""

    invite_email = forms.EmailField(label="Invite by e-mail", max_length=254, required=False)
    invite_role = forms.ChoiceField(
        label="as",
        choices=[(role.value, role.value) for role in MemberRole],
        initial=MemberRole.OWNER.value,
        required=False,
    )


@admin.register(Business)
class BusinessAdmin(ModelAdmin):
    form = BusinessForm
    ordering = ("name", "id")
    list_display = ("name", "city", "country", "currency", "suspended_at")
    search_fields = ("name",)
    inlines = (MemberInline,)

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        """Save by the services, which write the audit log."""
        actor, invitation = staff_actor(request), {"invite_email", "invite_role"}
        if change:
            changes = {name: form.cleaned_data[name] for name in form.changed_data if name not in invitation}
            if changes:
                stored = Business.objects.get(pk=obj.pk)
                services.change_business(business=stored, changes=changes, actor=actor)
        else:
            services.add_business(business=obj, actor=actor)
        if email := form.cleaned_data["invite_email"]:
            role = MemberRole(form.cleaned_data["invite_role"] or MemberRole.OWNER)
            try:
                invitations.invite(business=obj, email=email, name="", role=role, actor=actor)
            except InvalidDocument as refused:
                messages.error(request, " ".join(fault.text for fault in refused.faults))

    def save_formset(self, request: HttpRequest, form: Any, formset: Any, change: bool) -> None:
        """Remove the selected members. Nothing else can be changed here."""
        formset.save(commit=False)
        for member in formset.deleted_objects:
            try:
                services.remove_member(member=member, actor=staff_actor(request))
            except InvalidDocument as refused:
                messages.error(request, " ".join(fault.text for fault in refused.faults))


class PersonForm(PersonModelForm):
    """Form of a person without a password. They set it by the link of an invitation."""

    class Meta:
        model = Person
        fields = ("email", "name")

    def save(self, commit: bool = True) -> Person:
        """Save the person; a new person has no usable password."""
        if self.instance._state.adding:
            self.instance.set_unusable_password()
        return super().save(commit)


@admin.register(Person)
class PersonAdmin(ModelAdmin):
    """Admin of people. It cannot set the password of another person."""

    form = PersonForm
    ordering = ("email",)
    list_display = ("email", "name", "is_active", "is_staff")
    search_fields = ("email", "name")
    readonly_fields = ("email_proved_at", "joined_at")
    fields = ("email", "name", "is_active", "is_staff", "is_superuser", "email_proved_at", "joined_at")
    list_filter = ("is_active", "is_staff")

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        """Save the person. A new address must be confirmed again."""
        if "email" in form.changed_data:
            obj.email = obj.email.strip().lower()
            obj.email_proved_at = None
        super().save_model(request, obj, form, change)


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


@admin.register(OutgoingMail)
class OutgoingMailAdmin(ReadOnly):
    list_display = ("name", "event", "state", "message_id", "claimed_at", "sent_at")
    list_filter = ("state", "name")


@admin.register(OutboxTask)
class OutboxTaskAdmin(ReadOnly):
    list_display = ("event", "handler", "state", "starts", "due_at", "last_error")
    list_filter = ("state", "handler")
    actions = ("try_again",)

    @admin.action(description="Retry failed tasks")
    def try_again(self, request: HttpRequest, rows: Any) -> None:
        """Queue failed tasks again."""
        rows.filter(state=TaskState.FAILED).update(state=TaskState.QUEUED, starts=0, leased_until=None)
