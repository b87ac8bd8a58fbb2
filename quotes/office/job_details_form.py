"""A job's own details, its customer's and its site's, changed in one form."""

from __future__ import annotations

from typing import Any

from django import forms

from quotes.jobs import services
from quotes.jobs.models import Job
from shared.business.actors import Actor


def _area(label: str, most: int) -> forms.CharField:
    return forms.CharField(label=label, required=False, max_length=most, widget=forms.Textarea(attrs={"rows": 3}))


class JobDetails(forms.Form):
    """Form for the details of a job, its customer and its site. Quotes that were sent do not change."""

    label = forms.CharField(label="Job name", max_length=200)
    preferred_on = forms.DateField(
        label="Preferred date", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    notes = _area("Notes", 10_000)
    name = forms.CharField(label="Customer", max_length=120)
    email = forms.EmailField(label="E-mail", required=False, max_length=254)
    phone = forms.CharField(label="Phone", required=False, max_length=40)
    address = forms.CharField(label="Site address", max_length=500)
    city = forms.CharField(label="City", required=False, max_length=120)
    postcode = forms.CharField(label="Postcode", required=False, max_length=20)
    access_notes = _area("Access and hazards", 2_000)

    ROWS = ("customer", "site")
    """Rows that are changed with the job."""
    OF_JOB = ("label", "preferred_on", "notes")
    OF_CUSTOMER = ("name", "email", "phone")
    OF_SITE = ("address", "city", "postcode", "access_notes")

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        self.job = job
        self.before = {name: getattr(row, name) for row, names in self._rows() for name in names}
        super().__init__(*args, **{"initial": self.before, **kwargs})
        self.label_suffix = ""
        for name in self.fields if self.is_bound else ():
            if name in self.errors:
                self.fields[name].widget.attrs.update({"aria-invalid": "true", "aria-describedby": f"id_{name}_error"})

    def save(self, actor: Actor) -> None:
        """Write the changed values only. The rows of ``ROWS`` are locked before: the audit log locks the business."""
        of_job, of_customer, of_site = (self._changed(names) for _, names in self._rows())
        if of_job:
            services.change_job(job=self.job, actor=actor, **of_job)
        if of_customer:
            services.change_customer(customer=self.job.customer, actor=actor, **of_customer)
        if of_site:
            services.change_site(site=self.job.site, actor=actor, **of_site)

    @classmethod
    def facts(cls, job: Job) -> dict[str, str]:
        """Return the stored details of a job, its customer and its site, by label."""
        form = cls(job=job)
        return {str(field.label): str(form.before[name] or "") for name, field in form.fields.items()}

    def _rows(self) -> tuple[tuple[object, tuple[str, ...]], ...]:
        return (self.job, self.OF_JOB), (self.job.customer, self.OF_CUSTOMER), (self.job.site, self.OF_SITE)

    def _changed(self, names: tuple[str, ...]) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in names if self.cleaned_data[name] != self.before[name]}
