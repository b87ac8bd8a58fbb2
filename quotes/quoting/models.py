"""Models of quotes: revisions, parties, signed links, responses and questions."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from quotes.jobs.models import ImmutableModel, Job, MeasureVersion
from shared.models import BusinessOwned


class RevisionState(models.TextChoices):
    DRAFT = "draft", "draft"
    SENT = "sent", "sent"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"
    EXPIRED = "expired", "expired"
    SUPERSEDED = "superseded", "superseded"
    CANCELLED = "cancelled", "cancelled"


class RevisionKind(models.TextChoices):
    QUOTE = "quote", "quote"
    VARIATION = "variation", "variation"


class Quote(BusinessOwned):
    """A quote of a job. Numbers have no gaps; its revisions follow one another."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="quotes")
    number = models.CharField(max_length=20, editable=False)
    label = models.CharField(max_length=200)
    latest_revision = models.PositiveIntegerField(default=0, editable=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "number"], name="quote_number_once")]
        indexes = [models.Index(fields=["business", "job", "-id"], name="quote_by_job")]

    def __str__(self) -> str:
        return f"{self.number} {self.label}"


class Revision(BusinessOwned):
    """A numbered revision of a quote. ``setup`` is the estimator's input; ``content`` is the whole document, frozen at sending.

    ``choices`` are the selected options and alternative, set when the party that chooses accepts. ``closed_at`` is the time
    of the final response, of the next revision or of expiry; ``cancelled_at`` is the time when the job was cancelled.
    An accepted revision of a cancelled job has both.
    """

    quote = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=9, choices=RevisionKind, default=RevisionKind.QUOTE)
    base_revision = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="variations"
    )
    measure_version = models.ForeignKey(MeasureVersion, on_delete=models.PROTECT, related_name="revisions")
    setup = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=RevisionState, default=RevisionState.DRAFT)
    content = models.TextField(blank=True)
    content_sha256 = models.CharField(max_length=64, blank=True)
    valid_until = models.DateField(null=True, blank=True)
    net = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    tax = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    total = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    choices = models.JSONField(null=True, blank=True)
    override_reason = models.CharField(max_length=1_000, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_by = models.CharField(max_length=160, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "quote", "number"], name="revision_number_once"),
            models.CheckConstraint(condition=Q(state__in=RevisionState.values), name="revision_state_known"),
            models.CheckConstraint(
                condition=(Q(state="draft") & Q(content="") & Q(content_sha256="") & Q(sent_at__isnull=True))
                | (~Q(state="draft") & ~Q(content="") & ~Q(content_sha256="") & Q(sent_at__isnull=False)),
                name="revision_sent_with_its_content",
            ),
            models.CheckConstraint(
                condition=Q(kind="quote", base_revision__isnull=True)
                | Q(kind="variation", base_revision__isnull=False),
                name="variation_changes_a_revision",
            ),
            # one revision of each kind may be open at a time; at most one revision of kind "quote" is ever accepted
            models.UniqueConstraint(fields=["quote", "kind"], condition=Q(state="sent"), name="revision_one_open"),
            models.UniqueConstraint(
                fields=["quote"], condition=Q(state="accepted", kind="quote"), name="revision_one_accepted_quote"
            ),
        ]
        indexes = [
            models.Index(fields=["business", "state", "-id"], name="revision_by_state"),
            models.Index(fields=["state", "valid_until"], name="revision_by_validity"),
        ]

    def __str__(self) -> str:
        return f"{self.quote.number}/{self.number}"


class PartyResponseStatus(models.TextChoices):
    PENDING = "pending", "pending"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"


class Party(BusinessOwned):
    """A party that pays a share of a revision. The party with ``chooses_options`` selects the options for all."""

    revision = models.ForeignKey(Revision, on_delete=models.CASCADE, related_name="parties")
    key = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    email = models.EmailField("e-mail", blank=True)
    address = models.TextField(max_length=500, blank=True)
    must_accept = models.BooleanField(default=True)
    chooses_options = models.BooleanField(default=False)
    position = models.PositiveSmallIntegerField(default=0)
    response = models.CharField(max_length=8, choices=PartyResponseStatus, default=PartyResponseStatus.PENDING)
    reminded_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "parties"
        constraints = [
            models.UniqueConstraint(fields=["revision", "key"], name="party_key_once"),
            models.UniqueConstraint(fields=["revision"], condition=Q(chooses_options=True), name="party_one_chooses"),
        ]
        ordering = ["revision", "position"]

    def __str__(self) -> str:
        return self.name


class SignedLink(BusinessOwned):
    """Link of one party to one revision. Only the digest of its token is stored; a new link revokes the earlier ones."""

    party = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="links")
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="links")
    token_sha256 = models.CharField(max_length=64, unique=True)
    content_sha256 = models.CharField(max_length=64)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField(null=True, blank=True)
    mailed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["party"], condition=Q(revoked_at__isnull=True), name="link_one_live"),
            models.CheckConstraint(condition=Q(expires_at__gt=F("created_at")), name="link_expires_later"),
        ]

    def __str__(self) -> str:
        return f"link of {self.party_id}"


class PartyResponse(ImmutableModel):
    """The single response of a party. ``choices`` and ``total`` are those of this party at the time of the response."""

    party = models.OneToOneField(Party, on_delete=models.PROTECT, related_name="receipt")
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="responses")
    accepted = models.BooleanField()
    name = models.CharField(max_length=120)
    reason = models.CharField(max_length=2_000, blank=True)
    choices = models.JSONField(default=dict)
    content_sha256 = models.CharField(max_length=64)
    total = models.DecimalField(max_digits=14, decimal_places=4)
    responded_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.name}: {'accepted' if self.accepted else 'declined'}"


class Question(BusinessOwned):
    """A party's question about a revision, and the answer of the business."""

    party = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="questions")
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="questions")
    text = models.CharField(max_length=2_000)
    reply = models.CharField(max_length=4_000, blank=True)
    replied_at = models.DateTimeField(null=True, blank=True)
    replied_by = models.CharField(max_length=160, blank=True)

    class Meta:
        indexes = [models.Index(fields=["business", "revision", "id"], name="question_by_revision")]

    def __str__(self) -> str:
        return self.text[:60]
