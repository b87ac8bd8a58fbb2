"""Documents that are wanted of a revision, and the PDFs made of them."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from quotes.offers.models import Revision
from shared.models import Owned


class Kind(models.TextChoices):
    QUOTE = "quote", "quote"
    SET_OUT = "set_out", "set-out sheet"
    CUT_LIST = "cut_list", "cut list"
    CARE = "care", "care sheet"
    SCREENING = "screening", "screening annex"
    ACCEPTANCE = "acceptance", "acceptance record"


class State(models.TextChoices):
    WANTED = "wanted", "wanted"
    MADE = "made", "made"


class Document(Owned):
    """One document of one revision, for one party where it is a quote. Made once, and then never again."""

    revision = models.ForeignKey(Revision, on_delete=models.CASCADE, related_name="documents")
    kind = models.CharField(max_length=12, choices=Kind)
    party = models.CharField(max_length=40, blank=True)
    state = models.CharField(max_length=6, choices=State, default=State.WANTED)
    pdf = models.BinaryField(null=True, editable=False)
    sha256 = models.CharField(max_length=64, blank=True, editable=False)
    size = models.PositiveIntegerField(default=0, editable=False)
    made_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "revision", "kind", "party"], name="document_once"),
            models.CheckConstraint(
                condition=Q(state="wanted", pdf__isnull=True) | Q(state="made", pdf__isnull=False),
                name="document_made_with_its_bytes",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.party}".strip()
