"""Customers, sites, jobs and their history, measures, and as-built entries."""

from __future__ import annotations

from typing import Any, NoReturn

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q

from shared.models import BusinessOwned


class ImmutableModel(BusinessOwned):
    """A row that is written once. A database trigger refuses the same (see migrations)."""

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise ValidationError(f"A {self._meta.verbose_name} is never changed.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise ValidationError(f"A {self._meta.verbose_name} is never deleted.")


class Customer(BusinessOwned):
    """Somebody who wants a fence."""

    name = models.CharField(max_length=120)
    email = models.EmailField("e-mail", blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(max_length=500, blank=True)
    registration_number = models.CharField(max_length=60, blank=True)
    notes = models.TextField(max_length=5_000, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["business", "name"], name="customer_by_name")]

    def __str__(self) -> str:
        return self.name


class Site(BusinessOwned):
    """The ground a fence stands on."""

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="sites")
    address = models.TextField(max_length=500)
    city = models.CharField(max_length=120, blank=True)
    postcode = models.CharField(max_length=20, blank=True)
    country = models.CharField(
        max_length=2, blank=True, validators=[RegexValidator(r"^[A-Z]{2}\Z", "ISO 3166-1, two letters.")]
    )
    access_notes = models.TextField("access and hazards", max_length=2_000, blank=True)

    def __str__(self) -> str:
        return self.address.partition("\n")[0]


class JobState(models.TextChoices):
    OPEN = "open", "open"
    ACCEPTED = "accepted", "accepted"
    BUILT = "built", "built"
    CLOSED = "closed", "closed"
    CANCELLED = "cancelled", "cancelled"


MOVES: dict[str, frozenset[str]] = {
    JobState.OPEN: frozenset({JobState.ACCEPTED, JobState.CANCELLED}),
    JobState.ACCEPTED: frozenset({JobState.BUILT, JobState.CANCELLED}),
    JobState.BUILT: frozenset({JobState.CLOSED, JobState.ACCEPTED}),
    JobState.CLOSED: frozenset(),
    JobState.CANCELLED: frozenset({JobState.OPEN}),
}
"""From which state a job may go to which."""


class Job(BusinessOwned):
    """One fence from measure to delivered fence. ``number`` has no gaps within a business."""

    number = models.CharField(max_length=20, editable=False)
    label = models.CharField(max_length=200)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="jobs")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="jobs")
    state = models.CharField(max_length=9, choices=JobState, default=JobState.OPEN, editable=False)
    notes = models.TextField(max_length=10_000, blank=True)
    preferred_on = models.DateField(null=True, blank=True)
    copied_from = models.ForeignKey("self", on_delete=models.SET_NULL, null=True, blank=True, related_name="copies")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "number"], name="job_number_once"),
            models.CheckConstraint(condition=Q(state__in=JobState.values), name="job_state_known"),
        ]
        indexes = [models.Index(fields=["business", "state", "-id"], name="job_by_state")]

    def __str__(self) -> str:
        return f"{self.number} {self.label}"


class JobEvent(ImmutableModel):
    """One thing that happened to a job; the time line is made of these. ``facts`` holds no money."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=40)
    text = models.CharField(max_length=2_000)
    created_by = models.CharField(max_length=160)
    facts = models.JSONField(default=dict)

    class Meta:
        indexes = [models.Index(fields=["business", "job", "-id"], name="event_by_job")]

    def __str__(self) -> str:
        return f"{self.kind}: {self.text}"


class StoredMeasure(BusinessOwned):
    """A site measure being kept: numbered versions that were valid, and perhaps a draft on top that need not be.

    ``draft`` is the text as entered; ``draft_errors`` are the errors that prevent saving it as the next version.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="measures")
    label = models.CharField(max_length=200)
    latest_version = models.PositiveIntegerField(default=0, editable=False)
    draft = models.TextField(blank=True)
    draft_errors = models.JSONField(default=list, blank=True)
    draft_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["business", "job", "id"], name="measure_by_job")]

    def __str__(self) -> str:
        return self.label


class MeasureVersion(ImmutableModel):
    """A valid site measure as it stood: ``document`` is canonical JSON, ``sha256`` its digest."""

    measure = models.ForeignKey(StoredMeasure, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    document = models.TextField()
    sha256 = models.CharField(max_length=64)
    system = models.CharField(max_length=60)
    created_by = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "measure", "number"], name="measure_version_once")]

    def __str__(self) -> str:
        return f"version {self.number}"


class BuiltKind(models.TextChoices):
    USED = "used", "used"
    RETURNED = "returned", "returned to stock"
    CHANGED = "changed", "changed on site"


class AsBuilt(ImmutableModel):
    """An as-built entry: material used, returned or changed on site. A mistake is corrected by a reverse entry."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="as_built")
    kind = models.CharField(max_length=8, choices=BuiltKind)
    role = models.CharField(max_length=20, blank=True)
    component = models.CharField(max_length=64, blank=True)
    length_mm = models.PositiveIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])
    unit = models.CharField(max_length=3, blank=True)
    quantity = models.DecimalField(max_digits=12, decimal_places=3, default=0)
    location = models.CharField("bay, post or gate", max_length=40, blank=True)
    note = models.CharField(max_length=1_000, blank=True)
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="taken_back")
    created_by = models.CharField(max_length=160)

    class Meta:
        verbose_name_plural = "as-built entries"
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=BuiltKind.values), name="as_built_kind_known"),
            models.CheckConstraint(condition=Q(kind="changed") | ~Q(role=""), name="as_built_says_what"),
        ]
        indexes = [models.Index(fields=["business", "job", "id"], name="as_built_by_job")]

    def __str__(self) -> str:
        return f"{self.kind} {self.quantity} {self.role}"


class ChecklistEntry(BusinessOwned):
    """The last mark of a checklist item: a hole is dug, or a bay or gate is erected."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="ticks")
    place = models.CharField("post, bay or gate", max_length=40)
    done = models.BooleanField()
    marked_at = models.DateTimeField()
    created_by = models.CharField(max_length=160)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "job", "place"], name="tick_once_for_a_place")]

    def __str__(self) -> str:
        return f"{self.place}: {'done' if self.done else 'not done'}"
