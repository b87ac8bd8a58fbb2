"""Forms of a job: a new one with its customer and site, and the details of all three."""

from __future__ import annotations

from typing import Any

from django.core.validators import EmailValidator

from quotes.jobs import queries, services
from quotes.jobs.models import Customer, Job
from shared.business.actors import Actor
from shared.models import Business
from shared.web.forms import PageDateField, PageForm, PageTextField

IS_EMAIL = EmailValidator("This is not an e-mail address. Write it like name@example.com.")


class JobForm(PageForm):
    """Form for a new job. A customer with the same name and e-mail is used again. An empty label is filled in."""

    name = PageTextField(
        "Customer", "pick", max_length=120, required=True, fills="off", has_focus=True,
        error_messages={"required": "Enter the customer's name."},
    )  # fmt: skip
    email = PageTextField("E-mail", "email", max_length=254, fills="off", validators=[IS_EMAIL])
    phone = PageTextField("Phone", "tel", max_length=40, fills="off")
    address = PageTextField(
        "Site address", max_length=500, required=True, fills="off",
        error_messages={"required": "Enter the site address or directions to it."},
    )  # fmt: skip
    label = PageTextField("Job name", max_length=200, hint="For example: Back boundary")

    def __init__(self, business: Business, **options: Any) -> None:
        super().__init__(**options)
        self.business = business
        names = queries.customers(business).order_by("-id").values_list("name", flat=True)[:200]
        self.set_choices("name", ((name, "") for name in names))

    def open(self, actor: Actor) -> Job:
        """Create the job, its customer and its site."""
        customer, place = self._customer(actor), self.cleaned_data["address"]
        site = queries.sites(customer).filter(address__iexact=place).first()
        site = site or services.add_site(customer=customer, address=place, actor=actor)
        label = self.cleaned_data["label"] or f"Fence at {place}"[:200]
        return services.open_job(customer=customer, site=site, label=label, actor=actor)

    def _customer(self, actor: Actor) -> Customer:
        details = {name: self.cleaned_data[name] for name in ("name", "email", "phone")}
        same = queries.customers(self.business).filter(name__iexact=details["name"])
        if details["email"]:
            same = same.filter(email__iexact=details["email"])
        found = same.order_by("id").first()
        return found or services.add_customer(business=self.business, actor=actor, **details)


class JobDetails(PageForm):
    """Form for the details of a job, its customer and its site. Quotes that were sent do not change."""

    label = PageTextField("Job name", max_length=200, required=True)
    preferred_on = PageDateField("Preferred date")
    notes = PageTextField("Notes", "area", max_length=10_000)
    name = PageTextField("Customer", max_length=120, required=True)
    email = PageTextField("E-mail", "email", max_length=254, validators=[IS_EMAIL])
    phone = PageTextField("Phone", "tel", max_length=40)
    address = PageTextField("Site address", max_length=500, required=True)
    city = PageTextField("City", max_length=120)
    postcode = PageTextField("Postcode", max_length=20)
    access_notes = PageTextField("Access and hazards", "area", max_length=2_000)

    ROWS = ("customer", "site")
    """Rows that are changed with the job."""
    OF_JOB = ("label", "preferred_on", "notes")
    OF_CUSTOMER = ("name", "email", "phone")
    OF_SITE = ("address", "city", "postcode", "access_notes")

    def __init__(self, job: Job, **options: Any) -> None:
        self.job = job
        rows = ((job, self.OF_JOB), (job.customer, self.OF_CUSTOMER), (job.site, self.OF_SITE))
        super().__init__(initial={name: getattr(row, name) for row, names in rows for name in names}, **options)

    def save(self, actor: Actor) -> None:
        """Write the changed values only. The rows of ``ROWS`` are locked before: the audit log locks the business."""
        if of_job := self._changed(self.OF_JOB):
            services.change_job(job=self.job, actor=actor, **of_job)
        if of_customer := self._changed(self.OF_CUSTOMER):
            services.change_customer(customer=self.job.customer, actor=actor, **of_customer)
        if of_site := self._changed(self.OF_SITE):
            services.change_site(site=self.job.site, actor=actor, **of_site)

    def _changed(self, names: tuple[str, ...]) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in names if self.cleaned_data[name] != self.initial[name]}
