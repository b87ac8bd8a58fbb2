"""Documents of a revision or an order, with their status and PDF."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from quotes.quoting.models import Revision
from shared.models import BusinessOwned


def kind_choices() -> list[tuple[str, str]]:
    """Return code and label of each kind of document."""
    from quotes.documents.kinds import KINDS  # here, so that reading a model does not load what renders

    return [(kind.code, kind.label) for kind in KINDS.values()]


class DocumentState(models.TextChoices):
    QUEUED = "queued", "queued"
    READY = "ready", "ready"


class Document(BusinessOwned):
    """A document of a revision, for one party if it is a quote. It is created only once.

    A document without a revision names its ``subject`` (the order of an order list) and stores the values it is made from
    (``content``).
    """

    revision = models.ForeignKey(Revision, on_delete=models.CASCADE, null=True, blank=True, related_name="documents")
    kind = models.CharField(max_length=12, choices=kind_choices)
    party = models.CharField(max_length=40, blank=True)
    subject = models.CharField(max_length=32, blank=True, db_default="")
    content = models.TextField(blank=True, editable=False, db_default="")
    state = models.CharField(max_length=6, choices=DocumentState, default=DocumentState.QUEUED)
    pdf = models.BinaryField(null=True, editable=False)
    sha256 = models.CharField(max_length=64, blank=True, editable=False)
    size = models.PositiveIntegerField(default=0, editable=False)
    made_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "revision", "kind", "party"], name="document_once"),
            models.UniqueConstraint(
                fields=["business", "subject", "kind"], condition=~Q(subject=""), name="document_of_a_subject_once"
            ),
            models.CheckConstraint(
                condition=Q(revision__isnull=False, subject="") | (Q(revision__isnull=True) & ~Q(subject="")),
                name="document_of_something",
            ),
            models.CheckConstraint(
                condition=Q(state="queued", pdf__isnull=True) | Q(state="ready", pdf__isnull=False),
                name="document_made_with_its_bytes",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.party}".strip()
