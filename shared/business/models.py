"""Models of businesses, persons, members and keys."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Final
from zoneinfo import available_timezones

from babel import Locale, UnknownLocaleError
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone

from shared.business.business_owned import new_ref
from shared.business.roles import MemberRole
from shared.common.money import TaxRoundingLevel


def check_locale(text: str) -> None:
    """Reject a locale in which numbers and dates cannot be written."""
    try:
        Locale.parse(text)
    except (ValueError, UnknownLocaleError):
        raise ValidationError("Enter a language, or a language and country, such as en or en_NZ.", "locale") from None


def check_time_zone(text: str) -> None:
    """Reject an unknown time zone."""
    if text not in available_timezones():
        raise ValidationError("Enter a time zone such as Pacific/Auckland.", "time_zone")


class PersonManager(BaseUserManager["Person"]):
    """Manager of persons. The case of an e-mail address does not matter."""

    def create_user(self, email: str, password: str | None = None, **values: Any) -> Person:
        """Store and return a person. Without a password they cannot sign in yet."""
        person = self.model(email=email.strip().lower(), **values)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def create_superuser(self, email: str, password: str | None = None, **values: Any) -> Person:
        """Store and return a person who may use the admin."""
        return self.create_user(email, password, **{**values, "is_staff": True, "is_superuser": True})

    def get_by_natural_key(self, username: str | None) -> Person:
        """Return the person with an e-mail address."""
        return self.get(email=(username or "").strip().lower())


class Person(AbstractBaseUser, PermissionsMixin):
    """Person who signs in. They can be a member of several businesses."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    email = models.EmailField("e-mail", unique=True)
    name = models.CharField(max_length=120, blank=True)
    is_staff = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(default=timezone.now, editable=False)
    email_proved_at = models.DateTimeField(null=True, blank=True, editable=False)
    """Time when the person opened a link sent to the address. None: another person may have set the password."""

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects = PersonManager()

    class Meta:
        verbose_name_plural = "people"
        constraints = [models.UniqueConstraint(Lower("email"), name="person_email_any_case")]

    def __str__(self) -> str:
        return self.name or self.email

    @property
    def needs_password(self) -> bool:
        """Return whether the person must set a password by a link: there is none, or another person may know it.

        An invitation never replaces the password of a staff member.
        """
        return not self.has_usable_password() or (self.email_proved_at is None and not self.is_staff)

    def get_full_name(self) -> str:
        """Return the name for the admin."""
        return str(self)


class Paper(models.TextChoices):
    A4 = "A4", "A4"
    LETTER = "Letter", "Letter"


TAX_ROUNDING_LEVELS: Final = (
    (TaxRoundingLevel.TOTAL.value, "on the total of each rate"),
    (TaxRoundingLevel.LINE.value, "on every line"),
)
"""Choices of the setting for tax rounding, with their labels."""


CUSTOM_TEXTS: Final = {"care_sheet": 10_000, "how_to_accept": 1_000}
"""Texts of documents that a business may customise, with their maximum lengths."""


ACCOUNTS: Final = {
    "goods": "Goods bought",
    "delivery": "Delivery of goods bought",
    "labour": "Labour sold",
    "sales": "Sales",
}
"""Purposes of account codes with their labels. There is also one account code for each tax code."""
MAX_ACCOUNT: Final = 40
TAX: Final = "tax"
"""Field of the accounts of a business with the account codes of tax codes."""


class Business(models.Model):
    """Fencing business, to which all other records belong."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    name = models.CharField(max_length=120)
    address = models.TextField(max_length=500, blank=True)
    city = models.CharField(max_length=120, blank=True)
    postcode = models.CharField(max_length=20, blank=True)
    country = models.CharField(
        max_length=2, validators=[RegexValidator(r"^[A-Z]{2}\Z", "Two capital letters of ISO 3166-1.")]
    )
    email = models.EmailField("e-mail")
    mail_tested_at = models.DateTimeField(null=True, editable=False)
    phone = models.CharField(max_length=40, blank=True)
    website = models.CharField(max_length=200, blank=True)
    currency = models.CharField(
        max_length=3, validators=[RegexValidator(r"^[A-Z]{3}\Z", "Three capital letters of ISO 4217.")]
    )
    locale = models.CharField(max_length=20, default="en", validators=[check_locale])
    language = models.CharField(max_length=20, default="en")
    time_zone = models.CharField(max_length=60, default="UTC", validators=[check_time_zone])
    paper_size = models.CharField(max_length=6, choices=Paper, default=Paper.A4)
    tax_rounding = models.CharField(max_length=5, choices=TAX_ROUNDING_LEVELS, default=TaxRoundingLevel.TOTAL.value)
    tax_name = models.CharField(max_length=20, default="Tax")
    registration_number = models.CharField(max_length=60, blank=True)
    tax_number = models.CharField(max_length=60, blank=True)
    terms = models.TextField(max_length=20_000, blank=True)
    payment_details = models.TextField(max_length=2_000, blank=True)
    custom_texts = models.JSONField(default=dict, blank=True)
    accounts = models.JSONField(default=dict, blank=True)
    logo_png = models.BinaryField(null=True, blank=True, editable=False)
    quote_validity_days = models.PositiveSmallIntegerField(default=30)
    suspended_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    updated_at = models.DateTimeField(default=timezone.now, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        verbose_name_plural = "businesses"

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Save the business with the next version."""
        if not self._state.adding:
            self.version += 1
            self.updated_at = timezone.now()
            if kwargs.get("update_fields") is not None:
                kwargs["update_fields"] = {*kwargs["update_fields"], "version", "updated_at"}
        super().save(*args, **kwargs)

    @property
    def suspended(self) -> bool:
        """Return whether the business is suspended: it can be read and exported, but not changed."""
        return self.suspended_at is not None


class Member(models.Model):
    """Role of a person in a business. It is valid from ``accepted_at``; before that it is an invitation."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    business = models.ForeignKey(Business, on_delete=models.CASCADE, related_name="members")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=20, choices=[(role.value, role.value) for role in MemberRole])
    accepted_at = models.DateTimeField(null=True, blank=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "person"], name="member_once_in_a_business"),
            models.CheckConstraint(
                condition=models.Q(role__in=[role.value for role in MemberRole]), name="member_role_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.role}"


class SupplierAccount(models.Model):
    """Account of a supplier with the service. It can serve several businesses."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    name = models.CharField(max_length=120)
    email = models.EmailField("e-mail", blank=True)
    suspended_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    def __str__(self) -> str:
        return self.name


class ApiKey(models.Model):
    """Key of a business's system or of a supplier. The secret is shown once and never stored."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    business = models.ForeignKey(Business, on_delete=models.CASCADE, null=True, blank=True, related_name="api_keys")
    supplier_account = models.ForeignKey(
        SupplierAccount, on_delete=models.CASCADE, null=True, blank=True, related_name="api_keys"
    )
    name = models.CharField(max_length=120)
    prefix = models.CharField(max_length=12, editable=False)
    sha256 = models.CharField(max_length=64, unique=True, editable=False)
    scopes = models.JSONField(default=list)
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(Person, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(business__isnull=False, supplier_account__isnull=True)
                | models.Q(business__isnull=True, supplier_account__isnull=False),
                name="api_key_has_one_holder",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"


def account(business: Business, purpose: str) -> str:
    """Return the account code for goods, delivery, labour or sales; empty if there is none."""
    return str(business.accounts.get(purpose, ""))


def tax_account(business: Business, code: str) -> str:
    """Return the account code for a tax code; empty if there is none."""
    return str(business.accounts.get(TAX, {}).get(code, ""))


def with_accounts(business: Business, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the business's accounts with some of them changed; an empty code removes one."""
    plain = {**{name: account(business, name) for name in ACCOUNTS}, **{k: v for k, v in changes.items() if k != TAX}}
    by_code = {**business.accounts.get(TAX, {}), **changes.get(TAX, {})}
    return {
        **{name: code for name, code in plain.items() if code},
        TAX: {name: code for name, code in sorted(by_code.items()) if code},
    }
