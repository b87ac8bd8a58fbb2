"""Bodies that the API of this stage reads."""

from __future__ import annotations

from rest_framework import serializers

from catalogue.rules.codes import SALE_UNITS
from fencing.model.roles import ROLES
from quotes.jobs.models import BuiltKind, JobState
from shared.api.serializers import ExactField, StrictSerializer, TextField


class CustomerIn(StrictSerializer):
    name = TextField(max_length=120)
    email = serializers.EmailField(max_length=254, required=False, allow_blank=True)
    phone = TextField(max_length=40, required=False, allow_blank=True)
    address = TextField(max_length=500, required=False, allow_blank=True)
    registration_number = TextField(max_length=60, required=False, allow_blank=True)
    notes = TextField(max_length=5_000, required=False, allow_blank=True)


class SiteIn(StrictSerializer):
    address = TextField(max_length=500)
    city = TextField(max_length=120, required=False, allow_blank=True)
    postcode = TextField(max_length=20, required=False, allow_blank=True)
    country = serializers.RegexField(r"^([A-Z]{2})?\Z", required=False, allow_blank=True)
    access_notes = TextField(max_length=2_000, required=False, allow_blank=True)


class JobIn(StrictSerializer):
    """``site`` is the ref of a site of the customer, or the address of a new one."""

    customer = TextField(max_length=32)
    site = TextField(max_length=32, required=False)
    new_site_address = SiteIn(required=False)
    label = TextField(max_length=200)  # type: ignore[assignment]  # a member of the body by this name, not DRF's own
    notes = TextField(max_length=10_000, required=False, allow_blank=True)
    preferred_on = serializers.DateField(required=False, allow_null=True)

    def validate(self, attrs: dict[str, object]) -> dict[str, object]:
        if ("site" in attrs) == ("new_site_address" in attrs):
            raise serializers.ValidationError({"site": "Enter either site or new_site_address."})
        return attrs


class JobChange(StrictSerializer):
    label = TextField(max_length=200)  # type: ignore[assignment]  # a member of the body by this name, not DRF's own
    notes = TextField(max_length=10_000, allow_blank=True)
    preferred_on = serializers.DateField(allow_null=True)


class JobCopy(StrictSerializer):
    label = TextField(max_length=200, required=False)  # type: ignore[assignment]  # a member of the body by this name, not DRF's own
    customer = TextField(max_length=32, required=False)
    new_site_address = SiteIn(required=False)


class JobStatusChange(StrictSerializer):
    status = serializers.ChoiceField(JobState.values)
    reason = TextField(max_length=1_000, required=False, allow_blank=True)


class NoteIn(StrictSerializer):
    text = TextField(max_length=2_000)


class MeasureIn(StrictSerializer):
    """Without a document the measure begins as an empty draft."""

    label = TextField(max_length=200, required=False)  # type: ignore[assignment]  # a member of the body by this name, not DRF's own
    document = serializers.DictField(required=False)


class DraftIn(StrictSerializer):
    """Text of a draft, exactly as entered. It need not be valid."""

    content = serializers.CharField(allow_blank=True, trim_whitespace=False, max_length=10_000_000)


class TakeOffIn(StrictSerializer):
    """``system``: a system document, the code of one of the business's systems, or nothing for the measure's own."""

    measure = serializers.DictField()
    system = serializers.JSONField(required=False)


class BuiltIn(StrictSerializer):
    kind = serializers.ChoiceField(BuiltKind.values)
    role = serializers.ChoiceField(list(ROLES), required=False)
    component = TextField(max_length=64, required=False, allow_blank=True)
    length_mm = serializers.IntegerField(min_value=1, max_value=20_000_000, required=False, allow_null=True)
    unit = serializers.ChoiceField(sorted(SALE_UNITS), required=False)
    quantity = ExactField(places=3, most="1000000", required=False)
    location = TextField(max_length=40, required=False, allow_blank=True)
    note = TextField(max_length=1_000, required=False, allow_blank=True)

    def validate(self, attrs: dict[str, object]) -> dict[str, object]:
        if attrs["kind"] == BuiltKind.CHANGED:
            if not attrs.get("note"):
                raise serializers.ValidationError({"note": "Describe what was built differently."})
        elif not attrs.get("role") or not attrs.get("quantity"):
            raise serializers.ValidationError({"quantity": "Enter a role and a quantity."})
        return attrs
