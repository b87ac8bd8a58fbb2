"""Forms of pages: Django's forms, with entries read by our own exact readers and their errors beside the fields."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from django import forms
from django.http import HttpRequest
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shared.web.page_errors import PageError, error_status, errors_by_field

Choices = Iterable[tuple[str, str]]


class PageTextField(forms.CharField):
    """Text or figure. ``read`` converts an entry, ``show`` writes a stored value.

    An entry that ``read`` does not understand stays text, and the reader of the whole form rejects it. ``kind`` is text, area,
    number, email, tel, url, date, select, pick or hidden; a ``pick`` field suggests its choices. ``fills`` is what browsers fill
    in, and ``has_focus`` puts the cursor here when the page opens. ``max_length`` is checked here, and ``longest`` by the reader
    of the whole form.
    """

    def __init__(
        self,
        label: str,
        kind: str = "text",
        *,
        hint: str = "",
        choices: Choices = (),
        wide: bool = False,
        fills: str = "",
        has_focus: bool = False,
        longest: int | None = None,
        read: Callable[[str], Any] = str,
        show: Callable[[Any], str] = str,
        **options: Any,
    ) -> None:
        super().__init__(label=label, help_text=hint, **{"required": False, **options})
        self.kind, self.choices, self.fills, self.has_focus = kind, tuple(choices), fills, has_focus
        self.longest = longest or self.max_length
        self.wide = wide or kind == "area"
        self.read, self.show = read, show

    def to_python(self, value: Any) -> str:
        """Return the text with plain line breaks."""
        return (super().to_python(value) or "").replace("\r\n", "\n")

    def clean(self, value: Any) -> Any:
        """Return the value of an entry; an empty text if there is none."""
        text = super().clean(value)
        return self.read(text) if text else text

    def prepare_value(self, value: Any) -> str:
        """Return a stored value as text."""
        return "" if value is None else self.show(value)

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Return whether the entry is not the text that the page showed."""
        return not self.disabled and self.prepare_value(initial) != self.to_python(data)


class PageDateField(forms.DateField):
    """Day, entered and shown as the date field of a browser writes it."""

    kind = "date"

    def __init__(self, label: str, **options: Any) -> None:
        super().__init__(label=label, input_formats=["%Y-%m-%d"], **{"required": False, **options})

    def prepare_value(self, value: Any) -> str:
        """Return a stored day as text."""
        return value.isoformat() if isinstance(value, date) else value or ""


class PageField(forms.BoundField):
    """Field of a form as its template shows it. A disabled field is only shown."""

    @property
    def kind(self) -> str:
        """Return the kind of the field."""
        kind = "fixed" if self.field.disabled else getattr(self.field, "kind", self.field.widget.input_type)
        return "check" if kind == "checkbox" else kind

    @property
    def id(self) -> str:
        """Return the id of the HTML element."""
        return self.auto_id

    def value(self) -> Any:
        """Return the entry unchanged, or the stored value as text."""
        if self.form.is_bound and not self.field.disabled:
            return self.data or ""
        return self.field.prepare_value(self.initial) or ""

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """Return the choices. A stored value that is not a choice is added, so that it stays."""
        choices: tuple[tuple[str, str], ...] = getattr(self.field, "choices", ())
        value = self.value()
        added = choices and value and isinstance(self.field, PageTextField) and self.kind == "select"
        return (*choices, (value, value)) if added and value not in dict(choices) else choices

    @property
    def is_required(self) -> bool:
        """Return whether the browser asks for an entry."""
        return self.field.required and self.form.use_required_attribute

    @property
    def most(self) -> int | None:
        """Return the maximum length."""
        return getattr(self.field, "longest", None)

    @property
    def wide(self) -> bool:
        """Return whether the field takes the whole width."""
        return getattr(self.field, "wide", False)

    @property
    def fills(self) -> str:
        """Return what browsers may fill in."""
        return getattr(self.field, "fills", "")

    @property
    def fault(self) -> str:
        """Return all errors of the field."""
        return " ".join(str(error) for error in self.errors)

    @property
    def hint(self) -> str:
        """Return the hint below the field."""
        return str(self.help_text)

    @property
    def described_by(self) -> SafeString:
        """Return the attributes that link a field to its error and hint."""
        beside = [f"{self.id}-{suffix}" for suffix in ("fault", "hint") if getattr(self, suffix)]
        described = format_html(' aria-describedby="{}"', " ".join(beside)) if beside else SafeString("")
        return SafeString(' aria-invalid="true"') + described if self.errors else described

    @property
    def shown(self) -> str:
        """Return the value in words: a choice by its name, a tick as yes or no."""
        value = self.value()
        return ("yes" if value else "no") if self.kind == "check" else dict(self.choices).get(value, value)


class PageForm(forms.Form):
    """Form that keeps the entries and shows every error beside its field. Fields are declared, or given as ``fields``.

    The server states what is missing; in a form with ``use_required_attribute`` the browser asks for it.
    """

    bound_field_class = PageField
    use_required_attribute = False
    fault_status = 422
    if TYPE_CHECKING:

        def __getitem__(self, name: str) -> PageField: ...
        def __iter__(self) -> Iterator[PageField]: ...

    def __init__(
        self, data: Any = None, files: Any = None, *, fields: Mapping[str, forms.Field] | None = None, **options: Any
    ) -> None:
        super().__init__(data, files, **{"auto_id": "f-%s", **options})
        self.fields.update(fields or {})
        self.cleaned_data = {}

    @property
    def status(self) -> int:
        """Return the HTTP status of a page with this form."""
        return self.fault_status if self.errors else 200

    @property
    def faulty(self) -> list[PageField]:
        """Return the fields with errors."""
        return [field for field in self if field.errors]

    def set_choices(self, name: str, choices: Choices) -> None:
        """Set the choices of a field."""
        self.fields[name].choices = tuple(choices)  # type: ignore[attr-defined]

    def refuse(self, error: PageError) -> None:
        """Show errors beside their fields, and others for the whole form. The error of an entry itself comes first."""
        self.fault_status = error_status(error)
        named: dict[str, list[str]] = {}
        for pointer, text in errors_by_field(error).items():
            name = pointer.removeprefix("/")
            while name and name not in self.fields:
                name = name.rpartition("/")[0]
            named.setdefault(name, []).append(text)
        for name, texts in named.items():
            if name not in self.errors:
                self.add_error(name or None, " ".join(dict.fromkeys(texts)))

    def facts(self) -> dict[str, str]:
        """Return what the form shows, by label."""
        return {str(field.label): field.shown for field in self if field.kind not in ("file", "hidden")}


def entries(request: HttpRequest) -> dict[str, Any]:
    """Return the arguments of a form: what was entered if the form was sent."""
    return {"data": request.POST, "files": request.FILES} if request.method == "POST" else {}
