"""Endpoints of customers, sites, jobs, their history and their as-built entries."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.jobs import queries, services
from quotes.jobs.api_fields import (
    AS_BUILT,
    BUILT_SCHEMA,
    CUSTOMER_SCHEMA,
    CUSTOMERS,
    EVENT_SCHEMA,
    EVENTS,
    JOB_SCHEMA,
    JOBS,
    SITE_SCHEMA,
    SITES,
)
from quotes.jobs.as_built import record_built, take_back
from quotes.jobs.job_copies import copy_job
from quotes.jobs.serializers import BuiltIn, CustomerIn, JobChange, JobCopy, JobIn, JobStatusChange, NoteIn, SiteIn
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.serializers import validated_data
from shared.business.roles import Scope


class Customers(Endpoint):
    """Customers of the business."""

    scopes = {"GET": Scope.JOBS_READ, "POST": Scope.JOBS_WRITE}
    paged = True
    parameters = {"q": "Words in name, e-mail or address.", "archived": "true: include archived customers."}

    @extend_schema(responses={200: page_of(CUSTOMER_SCHEMA)}, summary="List customers")
    def get(self, request: Request) -> Response:
        asked, archived = request.query_params.dict(), bool(self.flag("archived"))
        return self.page(
            lambda: queries.customers(self.business, asked, archived=archived), CUSTOMERS, all_of=self.business
        )

    @extend_schema(request=CustomerIn, responses={201: CUSTOMER_SCHEMA}, summary="Create a customer")
    def post(self, request: Request) -> Response:
        customer = services.add_customer(business=self.business, actor=self.actor, **self.validated_data(CustomerIn))
        return self.created(CUSTOMERS.of(customer), customer)


class CustomerDetail(Endpoint):
    """One customer."""

    scopes = {"GET": Scope.JOBS_READ, "PATCH": Scope.JOBS_WRITE, "DELETE": Scope.JOBS_WRITE}

    @extend_schema(responses={200: CUSTOMER_SCHEMA}, summary="Get a customer")
    def get(self, request: Request, ref: str) -> Response:
        customer = self.find(queries.customers(self.business, archived=True), ref)
        return self.one(CUSTOMERS.of(customer), customer)

    @extend_schema(request=CustomerIn(partial=True), responses={200: CUSTOMER_SCHEMA}, summary="Change a customer")
    def patch(self, request: Request, ref: str) -> Response:
        customer = self.get_for_update(queries.customers(self.business, archived=True), ref)
        services.change_customer(customer=customer, actor=self.actor, **self.validated_data(CustomerIn, partial=True))
        return self.one(CUSTOMERS.of(customer), customer)

    @extend_schema(responses={204: None}, summary="Archive a customer")
    def delete(self, request: Request, ref: str) -> Response:
        """Archive a customer: it leaves the lists, its jobs and quotes stay."""
        customer = self.get_for_update(queries.customers(self.business, archived=True), ref)
        services.archive_customer(customer=customer, actor=self.actor)
        return Response(status=204)


class Sites(Endpoint):
    """Sites of a customer."""

    scopes = {"GET": Scope.JOBS_READ, "POST": Scope.JOBS_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(SITE_SCHEMA)}, summary="List a customer's sites")
    def get(self, request: Request, ref: str) -> Response:
        customer = self.find(queries.customers(self.business, archived=True), ref)
        return self.page(queries.sites(customer), SITES)

    @extend_schema(request=SiteIn, responses={201: SITE_SCHEMA}, summary="Create a site")
    def post(self, request: Request, ref: str) -> Response:
        customer = self.find(queries.customers(self.business), ref)
        site = services.add_site(customer=customer, actor=self.actor, **self.validated_data(SiteIn))
        return self.created(SITES.of(site), site)


class SiteDetail(Endpoint):
    """One site."""

    scopes = {"GET": Scope.JOBS_READ, "PATCH": Scope.JOBS_WRITE}

    @extend_schema(responses={200: SITE_SCHEMA}, summary="Get a site")
    def get(self, request: Request, ref: str, site: str) -> Response:
        customer = self.find(queries.customers(self.business, archived=True), ref)
        row = self.find(queries.sites(customer), site)
        return self.one(SITES.of(row), row)

    @extend_schema(request=SiteIn(partial=True), responses={200: SITE_SCHEMA}, summary="Change a site")
    def patch(self, request: Request, ref: str, site: str) -> Response:
        customer = self.find(queries.customers(self.business, archived=True), ref)
        row = self.get_for_update(queries.sites(customer), site)
        services.change_site(site=row, actor=self.actor, **self.validated_data(SiteIn, partial=True))
        return self.one(SITES.of(row), row)


class Jobs(Endpoint):
    """Jobs, from the newest."""

    scopes = {"GET": Scope.JOBS_READ, "POST": Scope.JOBS_WRITE}
    paged = True
    parameters = {
        "status": "open, accepted, built, closed or cancelled.",
        "customer": "The ref of a customer.",
        "q": "Words in label, address or customer's name, or the number.",
    }

    @extend_schema(responses={200: page_of(JOB_SCHEMA)}, summary="List jobs")
    def get(self, request: Request) -> Response:
        asked = request.query_params.dict()
        return self.page(lambda: queries.jobs(self.business, asked), JOBS, all_of=self.business)

    @extend_schema(request=JobIn, responses={201: JOB_SCHEMA}, summary="Create a job")
    def post(self, request: Request) -> Response:
        body = self.validated_data(JobIn)
        customer = self.find(queries.customers(self.business), body.pop("customer"))
        ref, fresh = body.pop("site", ""), body.pop("new_site_address", None)
        site = (
            services.add_site(customer=customer, actor=self.actor, **fresh)
            if fresh
            else self.find(queries.sites(customer), ref)
        )
        job = services.open_job(customer=customer, site=site, actor=self.actor, **body)
        return self.created(JOBS.of(job), job)


class JobDetail(Endpoint):
    """One job."""

    scopes = {"GET": Scope.JOBS_READ, "PATCH": Scope.JOBS_WRITE}

    @extend_schema(responses={200: JOB_SCHEMA}, summary="Get a job")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        return self.one(JOBS.of(job), job)

    @extend_schema(request=JobChange(partial=True), responses={200: JOB_SCHEMA}, summary="Change a job")
    def patch(self, request: Request, ref: str) -> Response:
        job = self.get_for_update(queries.jobs(self.business), ref)
        services.change_job(job=job, actor=self.actor, **self.validated_data(JobChange, partial=True))
        return self.one(JOBS.of(job), job)


class JobStatusView(Endpoint):
    """Status of a job."""

    scopes = {"POST": Scope.JOBS_WRITE}
    needs_if_match = frozenset({"POST"})

    @extend_schema(request=JobStatusChange, responses={200: JOB_SCHEMA}, summary="Change a job's status")
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(JobStatusChange)
        job = self.get_for_update(queries.jobs(self.business), ref)
        job = services.move_job(job=job, to=body["status"], reason=body.get("reason", ""), actor=self.actor)
        return self.one(JOBS.of(job), job)


class JobCopyView(Endpoint):
    """Copies of an earlier job."""

    scopes = {"POST": Scope.JOBS_WRITE}

    @extend_schema(request=JobCopy, responses={201: JOB_SCHEMA}, summary="Copy a job")
    def post(self, request: Request, ref: str) -> Response:
        """Copy a job with its current measures. Prices, quotes and as-built entries are not copied."""
        body = validated_data(JobCopy, request.data)
        job = self.find(queries.jobs(self.business), ref)
        customer = self.find(queries.customers(self.business), body["customer"]) if body.get("customer") else None
        copy = copy_job(
            job=job,
            actor=self.actor,
            label=body.get("label", ""),
            customer=customer,
            new_site_address=body.get("new_site_address"),
        )
        response = self.one(JOBS.of(copy), copy, status=201)
        response["Location"] = f"/api/v1/jobs/{copy.ref}"
        return response


class JobEvents(Endpoint):
    """History of a job. Events are added, never changed."""

    scopes = {"GET": Scope.JOBS_READ, "POST": Scope.JOBS_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(EVENT_SCHEMA)}, summary="List job events")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        return self.page(queries.events(job), EVENTS)

    @extend_schema(request=NoteIn, responses={201: EVENT_SCHEMA}, summary="Add a note")
    def post(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        event = services.add_note(job=job, text=self.validated_data(NoteIn)["text"], actor=self.actor)
        return Response(EVENTS.of(event), status=201)


class AsBuiltEntries(Endpoint):
    """Materials used, materials returned, and changes to the fence."""

    scopes = {"GET": Scope.SET_OUT_READ, "POST": Scope.AS_BUILT_WRITE}
    idempotent = frozenset({"POST"})
    paged = True

    @extend_schema(responses={200: page_of(BUILT_SCHEMA)}, summary="List as-built entries")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        return self.page(queries.as_built(job), AS_BUILT, by="id")

    @extend_schema(request=BuiltIn, responses={201: BUILT_SCHEMA}, summary="Record an as-built entry")
    def post(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        entry = record_built(job=job, actor=self.actor, **self.validated_data(BuiltIn))
        return self.created(AS_BUILT.of(entry), entry)


class AsBuiltEntry(Endpoint):
    """One entry. DELETE adds its opposite, so that both stay in the records."""

    scopes = {"GET": Scope.SET_OUT_READ, "DELETE": Scope.AS_BUILT_WRITE}

    @extend_schema(responses={200: BUILT_SCHEMA}, summary="Get an as-built entry")
    def get(self, request: Request, ref: str, entry: str) -> Response:
        row = self.find(queries.as_built(self.find(queries.jobs(self.business), ref)), entry)
        return self.one(AS_BUILT.of(row), row)

    @extend_schema(responses={204: None}, summary="Reverse an as-built entry")
    def delete(self, request: Request, ref: str, entry: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        row = self.get_for_update(queries.as_built(job), entry)
        take_back(entry=row, actor=self.actor)
        return Response(status=204)
