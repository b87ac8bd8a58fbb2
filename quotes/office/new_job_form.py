"""The short form a job begins with: who wants a fence, and where."""

from __future__ import annotations

from typing import Any

from django import forms

from quotes.jobs import queries, services
from quotes.jobs.models import Customer, Job
from shared.business.actors import Actor
from shared.models import Business


class JobForm(forms.Form):
    """Form for a new job. A customer with the same name and e-mail is used again. An empty label is filled in."""

    name = forms.CharField(
        label="Customer",
        max_length=120,
        error_messages={"required": "Enter the customer's name."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autofocus": True, "list": "known"}),
    )
    email = forms.EmailField(
        label="E-mail", required=False, max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "off"})
    )
    phone = forms.CharField(
        label="Phone",
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"inputmode": "tel", "autocomplete": "off"}),
    )
    address = forms.CharField(
        label="Site address",
        max_length=500,
        error_messages={"required": "Enter the site address or directions to it."},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    label = forms.CharField(
        label="Job name",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"placeholder": "Back boundary"}),
    )

    def __init__(self, *args: Any, business: Business, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.business = business
        for name, field in self.fields.items():
            if self.is_bound and name in self.errors:
                field.widget.attrs.update({"aria-invalid": "true", "aria-describedby": f"id_{name}_error"})

    @property
    def customer_names(self) -> list[str]:
        """Return customer names for the suggestions."""
        return list(queries.customers(self.business).order_by("-id").values_list("name", flat=True)[:200])

    def open(self, actor: Actor) -> Job:
        """Create the job, its customer and its site."""
        data = self.cleaned_data
        customer = self._customer(actor)
        place = data["address"].strip()
        site = queries.sites(customer).filter(address__iexact=place).first()
        site = site or services.add_site(customer=customer, address=place, actor=actor)
        label = data["label"].strip() or f"Fence at {place}"[:200]
        return services.open_job(customer=customer, site=site, label=label, actor=actor)

    def _customer(self, actor: Actor) -> Customer:
        data = self.cleaned_data
        same = queries.customers(self.business).filter(name__iexact=data["name"].strip())
        if data["email"]:
            same = same.filter(email__iexact=data["email"])
        found = same.order_by("id").first()
        details = {"name": data["name"].strip(), "email": data["email"], "phone": data["phone"]}
        return found or services.add_customer(business=self.business, actor=actor, **details)
