"""Form of a draft's setup. Its parts make an API body, which the API's reader validates.

Values without a field on the page (tax code of an option, hire, day of supply) do not change.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from functools import cached_property
from typing import Any, ClassVar

from django import forms
from django.forms.formsets import INITIAL_FORM_COUNT, TOTAL_FORM_COUNT, ManagementForm
from django.http import QueryDict
from django.utils.text import slugify

from catalogue.rules.price_rule_lines import DiscountRule, Due
from fencing.model.faults import InvalidDocument
from fencing.model.measure import Form
from quotes.pricing.price_lines import NO_DISCOUNT
from quotes.quoting.draft_setup import MAX, DraftSetup, read_setup
from quotes.quoting.json_values import JsonObject
from shared.common.typed_entries import HEIGHT, read_length, read_percent, read_share, read_split
from shared.common.typed_numbers import as_shown, typed_number
from shared.web.forms import PageForm, PageTextField
from shared.web.page_errors import faults_by_pointer

_DUE_WORDS = {
    Due.ACCEPTANCE: "on acceptance",
    Due.START: "at the start",
    Due.POSTS_SET: "when the posts are set",
    Due.COMPLETION: "on completion",
}
ALWAYS_SENT = ("key", "milestone", "must_accept", "form", "licensed_removal")
"""Fields that browsers always send: a row with only these fields is empty."""


def _read_height(text: str) -> int | str:
    return read_length(text, HEIGHT)


def _number(
    label: str, read: Callable[[str], int | str] = typed_number, longest: int | None = None, hint: str = ""
) -> PageTextField:
    return PageTextField(label, "number", read=read, show=as_shown, longest=longest, hint=hint)


class DraftPart(PageForm):
    """A part of the form."""

    def entered(self) -> dict[str, object]:
        """Return the entered values; empty fields are left out."""
        return {name: value for name, value in self.cleaned_data.items() if value not in ("", None)}

    def show_fault(self, name: str, text: str) -> bool:
        """Show an error beside its field. Return False if there is no such field."""
        if name in self.fields and not self[name].errors:
            self.add_error(name, text)
        return name in self.fields


class DraftRow(DraftPart):
    """A row of a section."""

    title: ClassVar[str]
    key = PageTextField("", "hidden")

    def has_changed(self) -> bool:
        """Return whether something was entered in this row."""
        return any(self[name].value().strip() for name in self.fields if name not in ALWAYS_SENT)


class PartyForm(DraftRow):
    title = "Parties"
    name = PageTextField("Name", longest=120)
    email = PageTextField("E-mail", "email", longest=254)
    address = PageTextField("Address", longest=500)
    must_accept = forms.BooleanField(label="Must accept", required=False, initial=True)
    share = PageTextField("Default cost share", longest=40, show=as_shown, hint="Such as 1/2.")


class OptionForm(DraftRow):
    title = "Options the customer may add"
    label = PageTextField("Option", longest=200)
    detail = PageTextField("Description", longest=1_000)
    net = _number("Price before tax", longest=20)
    cost = _number("Cost", longest=20)


class AlternativeForm(DraftRow):
    title = "Alternatives"
    label = PageTextField("Alternative", longest=200)
    height_mm = _number("Height, mm", _read_height, 24)
    lattice_mm = _number("Lattice, mm", _read_height, 24)
    form = PageTextField("Form", "select", choices=[("", "as measured"), *((form.value, form.value) for form in Form)])


class ExtraForm(DraftRow):
    """An extra. ``hazardous``: kinds of old fences that only a licensed contractor may remove."""

    title = "Extras priced by hand"
    label = PageTextField("Extra", longest=200)
    detail = PageTextField("Description", longest=1_000)
    net = _number("Price before tax", longest=20)
    cost = _number("Cost", longest=20)
    licensed_removal = PageTextField("Licensed removal of", "select")

    def __init__(self, *, hazardous: Collection[str], **options: Any) -> None:
        super().__init__(**options)
        del self.fields["key"]
        if hazardous:
            self.set_choices("licensed_removal", [("", ""), *((kind, kind) for kind in hazardous)])
        else:
            del self.fields["licensed_removal"]


class PaymentForm(DraftRow):
    title = "Payments"
    label = PageTextField("Payment", longest=120)
    percent = _number("Percent", read_percent, 24)
    milestone = PageTextField("When", "select", choices=[(due.value, word) for due, word in _DUE_WORDS.items()])


ROWS: Mapping[str, type[DraftRow]] = {
    "parties": PartyForm,
    "options": OptionForm,
    "alternatives": AlternativeForm,
    "extra_items": ExtraForm,
    "payments": PaymentForm,
}


class DraftSection(forms.BaseFormSet):  # type: ignore[type-arg]  # generic in the stubs only
    """A section of the form: its rows; the last row is empty for a new entry."""

    @property
    def title(self) -> str:
        """Return the heading of the section."""
        return str(self.form.title)

    @cached_property
    def management_form(self) -> ManagementForm:
        """Return the number of rows. They are counted, so that the page needs no hidden counters."""
        field = re.compile(rf"{self.prefix}-(\d{{1,3}})-(?!{'|'.join(ALWAYS_SENT)})")
        entered = [int(found[1]) for name in self.data if self.data[name].strip() and (found := field.match(name))]
        count = max(entered, default=-1) + 1
        counts = {TOTAL_FORM_COUNT: max(count, min(count + 1, self.max_num)), INITIAL_FORM_COUNT: 0}
        return ManagementForm({f"{self.prefix}-{name}": value for name, value in counts.items()}, prefix=self.prefix)

    @property
    def entered(self) -> list[DraftRow]:
        """Return the rows that are not empty."""
        return [form for form in self.forms if form.has_changed()]

    def rows(self) -> list[dict[str, object]]:
        """Return the entered rows, with the stored values that have no field."""
        rows: list[dict[str, object]] = []
        stored = {row["key"]: row for row in self.initial or () if "key" in row}
        for form in self.entered:
            row = form.entered()
            own: JsonObject = stored.get(row.get("key"), {}) if "key" in form.fields else form.initial
            if "key" in form.fields and "key" not in row:
                label = str(row.get("label") or row.get("name") or "")
                row["key"] = _new_key(label, {other["key"] for other in rows})
            rows.append({**{name: value for name, value in own.items() if name not in form.fields}, **row})
        return rows

    def show_fault(self, place: str, name: str, text: str) -> None:
        """Show an error beside the field of an entered row, or above the rows."""
        named = dict(enumerate(self.entered)).get(int(place)) if place.isdigit() else None
        if named is None or not named.show_fault(name, text):
            self.non_form_errors().append(text)


class DiscountForm(DraftPart):
    """Discount of a quote. ``discounts`` are those of the price rules."""

    rule = PageTextField(
        "Discount of the price rules",
        "select",
        hint="Only one discount is given. An entry in the next fields replaces it.",
    )
    label = PageTextField("Discount name", longest=120)
    percent = _number("Discount in percent", read_percent)
    amount = _number("Discount amount, before tax")

    def __init__(self, *, discounts: Iterable[DiscountRule], **options: Any) -> None:
        super().__init__(**options)
        rules = [(rule.key, f"{rule.label}, {as_shown(f'{rule.percent.normalize():f}')} %") for rule in discounts]
        automatic, none = ("", "Automatic: the largest that applies"), (NO_DISCOUNT, "No discount")
        self.set_choices("rule", [automatic, *rules, none])

    def discount(self) -> dict[str, object]:
        """Return the discount: its rule, or one of its own; empty if nothing is entered."""
        entered = self.entered()
        rule = entered.pop("rule", None)
        if "percent" in entered or "amount" in entered:
            return {"label": "Discount", **entered}
        return {"rule": rule} if rule else {}


class SiteForm(DraftPart):
    """Site conditions."""

    pool_runs = PageTextField(
        "Runs beside a pool",
        longest=400,
        hint="Names of the runs, such as A, C. Leave empty if none.",
        read=lambda text: re.findall(r"[^\s,;]+", text),
        show=", ".join,
    )
    height_limit_mm = _number("Local height limit, mm", _read_height, hint="Leave empty if not checked.")
    near_driveway = forms.BooleanField(label="Driveway or street corner nearby", required=False)

    @property
    def is_open(self) -> bool:
        """Return whether a condition is entered."""
        return any(field.value() for field in self)

    def entered(self) -> dict[str, object]:
        """Return the conditions that apply."""
        return {name: value for name, value in super().entered().items() if value}


class TermsForm(DraftPart):
    """Visits, validity and texts."""

    site_visits = _number("Visits", hint="Leave empty to use the price rules.")
    validity_days = _number("Valid for (days)")
    introduction = PageTextField("Introduction", "area", longest=5_000)
    terms = PageTextField("Terms", "area", longest=20_000, hint="Leave empty to use your standard terms.")


class DraftForm:
    """Form of a draft: sections of rows, discount, site conditions and terms.

    ``hazardous``: old fences that only a licensed contractor may remove. ``discounts`` are those of the price rules.
    """

    setup: DraftSetup
    """The entered setup, after ``is_valid``."""

    def __init__(
        self,
        stored: JsonObject,
        posted: QueryDict | None = None,
        *,
        hazardous: Iterable[str] = (),
        discounts: Iterable[DiscountRule] = (),
    ) -> None:
        self.stored, self.posted = stored, posted
        shares = stored.get("default_shares") or {}
        parties = [{**row, "share": shares.get(row["key"], "0" if shares else "")} for row in stored.get("parties", [])]
        removals = {row.get("licensed_removal") for row in stored.get("extra_items", [])} - {None}
        kinds = [*sorted(hazardous), *sorted(removals.difference(hazardous))]
        self.sections: dict[str, DraftSection] = {}
        for name, form in ROWS.items():
            kind = forms.formset_factory(form, DraftSection, max_num=MAX[name], absolute_max=MAX[name] + 2)
            rows = parties if name == "parties" else stored.get(name, [])
            options = {"hazardous": kinds} if form is ExtraForm else {}
            self.sections[name] = kind(  # type: ignore[assignment]  # the stubs do not know the class of the factory
                posted, prefix=name, initial=rows, auto_id="f-%s", form_kwargs=options
            )
        self.discount = DiscountForm(
            discounts=discounts, data=posted, initial=stored.get("discount"), prefix="discount"
        )
        self.site = SiteForm(posted, initial=stored.get("site_conditions"))
        self.terms = TermsForm(posted, initial=stored)

    @property
    def chooser(self) -> str:
        """Return the key of the party that chooses the options; empty if none is named."""
        if self.posted is not None:
            return self.posted.get("chooses_options", "")
        chooses = (row["key"] for row in self.stored.get("parties", []) if row.get("chooses_options"))
        return next(chooses, "")

    def is_valid(self) -> bool:
        """Read the setup, or show every error beside its field."""
        parts: list[DraftSection | PageForm] = [*self.sections.values(), self.discount, self.site, self.terms]
        invalid = [part for part in parts if not part.is_valid()]
        try:
            self.setup = read_setup(self.body())
        except InvalidDocument as refused:
            self.show_faults(faults_by_pointer(refused))
            return False
        return not invalid

    def body(self) -> dict[str, object]:
        """Return the entries as an API body."""
        rows = {name: section.rows() for name, section in self.sections.items()}
        shares = {str(row["key"]): str(row.pop("share", "")) for row in rows["parties"]}
        for row in rows["parties"]:
            row["chooses_options"] = row["key"] == self.chooser
        body = {name: self.stored[name] for name in ("hire", "supply_on") if name in self.stored}
        body |= {**rows, "discount": self.discount.discount(), "site_conditions": self.site.entered()}
        body |= {"default_shares": _read_shares(shares), **self.terms.entered()}
        return {name: value for name, value in body.items() if value != [] and value != {}}

    def show_faults(self, faults: Mapping[str, str]) -> list[str]:
        """Show errors by JSON Pointer beside their fields or above their section. Return those that are not of this form."""
        others = []
        for pointer, text in faults.items():
            name, place, field = [*pointer.removeprefix("/setup").split("/")[1:4], "", "", ""][:3]
            if name in (*self.sections, "default_shares"):
                self.sections[name if name in self.sections else "parties"].show_fault(place, field, text)
            elif not (
                (name == "discount" and self.discount.show_fault(place, text))
                or (name == "site_conditions" and self.site.show_fault(place, text))
                or self.terms.show_fault(name, text)
            ):
                others.append(text)
        return others


def _read_shares(entered: Mapping[str, str]) -> dict[str, str]:
    """Return shares by party; empty if no party pays a share.

    A split of everything, such as 60/40 or half each, may be entered in one field alone.
    """
    texts = {key: text for key, text in entered.items() if text}
    alone = next(iter(texts.values())) if len(texts) == 1 and len(entered) > 1 else ""
    shares = read_split(alone, list(entered)) or {key: read_share(text) or text for key, text in texts.items()}
    return shares if any(share != "0" for share in shares.values()) else {}


def _new_key(label: str, taken: Collection[object]) -> str:
    word = slugify(label)[:36].strip("-") or "row"
    return next(
        key for key in (word, *(f"{word}-{count}" for count in range(2, 200))) if key not in taken and key != "base"
    )
