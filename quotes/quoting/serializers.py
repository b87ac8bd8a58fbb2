"""Request bodies of the quote API."""

from __future__ import annotations

from rest_framework import serializers

from quotes.quoting.draft_setup import SetupIn
from shared.api.serializers import StrictSerializer, TextField


class QuoteIn(StrictSerializer):
    job = TextField(max_length=32)
    measure = TextField(max_length=32)
    version = serializers.IntegerField(min_value=1, required=False)
    label = TextField(max_length=200, required=False)  # type: ignore[assignment]  # a field of the body
    setup = SetupIn(required=False)


class ReviseIn(StrictSerializer):
    measure = TextField(max_length=32, required=False)
    version = serializers.IntegerField(min_value=1, required=False)


class SetupChange(StrictSerializer):
    setup = SetupIn()
    measure = TextField(max_length=32, required=False)
    version = serializers.IntegerField(min_value=1, required=False)


class SendIn(StrictSerializer):
    override_reason = TextField(max_length=1_000, required=False, allow_blank=True)


class ReplyIn(StrictSerializer):
    text = TextField(max_length=4_000)


class ChoicesIn(StrictSerializer):
    build = TextField(max_length=40, required=False)
    options = serializers.ListField(child=TextField(max_length=40), max_length=40, required=False)


class AcceptIn(StrictSerializer):
    """Acceptance of a quote. ``content_sha256`` is the digest of the accepted document."""

    name = TextField(max_length=120)
    content_sha256 = serializers.RegexField(r"^[0-9a-f]{64}\Z")
    choices = ChoicesIn(required=False)


class DeclineIn(StrictSerializer):
    name = TextField(max_length=120)
    reason = TextField(max_length=2_000, required=False, allow_blank=True)


class AskIn(StrictSerializer):
    text = TextField(max_length=2_000)
