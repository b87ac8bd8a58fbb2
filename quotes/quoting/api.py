"""API of quotes for the business: drafts, sending, parties and their links, questions, comparison of materials."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.jobs.api_fields import DOCUMENT
from quotes.jobs.measure_api import find_version, pointing
from quotes.jobs.models import MeasureVersion
from quotes.jobs.queries import jobs
from quotes.quoting import api_fields, queries, services
from quotes.quoting.content_document import assemble
from quotes.quoting.customer_responses import reply
from quotes.quoting.draft_setup import DraftSetup, checked_setup
from quotes.quoting.json_values import JsonObject, plain
from quotes.quoting.models import Party, Revision, RevisionState
from quotes.quoting.party_documents import crew_document, party_document
from quotes.quoting.price_summary import compare_built
from quotes.quoting.serializers import QuoteIn, ReplyIn, ReviseIn, SendIn, SetupChange
from quotes.quoting.signed_links import address_of, reissue_link, revoke_link
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import SharedQuery
from shared.business.roles import Scope
from shared.common.problems import Problem

_FILTERS = {
    "status": "draft, sent, accepted, declined, expired, superseded or cancelled.",
    "kind": "quote or variation.",
}


class Quotes(Endpoint):
    """List of quotes, newest first; POST creates a quote."""

    scopes = {"GET": Scope.QUOTES_READ, "POST": Scope.QUOTES_WRITE}
    idempotent = frozenset({"POST"})
    paged = True
    parameters = {"job": "The ref of a job.", "q": "Words in the label, or the number."}

    @extend_schema(responses={200: page_of(api_fields.QUOTE_SCHEMA)}, summary="List quotes")
    def get(self, request: Request) -> Response:
        asked = request.query_params.dict()
        return self.page(lambda: queries.quotes(self.business, asked), api_fields.QUOTES, all_of=self.business)

    @extend_schema(
        request=QuoteIn, responses={201: api_fields.REVISION_FULL_SCHEMA}, summary="Create a quote with its first draft"
    )
    def post(self, request: Request) -> Response:
        body = self.validated_data(QuoteIn)
        job = self.find(jobs(self.business).select_related("customer", "business"), body["job"])
        version = find_version(self, body["measure"], body.get("version"))
        draft = services.start_quote(
            job=job, version=version, actor=self.actor, label=body.get("label", ""), setup=_setup(body)
        )
        return _created(self, draft)


class QuoteDetail(Endpoint):
    """A quote."""

    scopes = {"GET": Scope.QUOTES_READ}

    @extend_schema(responses={200: api_fields.QUOTE_SCHEMA}, summary="Get a quote")
    def get(self, request: Request, ref: str) -> Response:
        quote = self.find(queries.quotes(self.business), ref)
        return self.one(api_fields.QUOTES.of(quote), quote)


class QuoteRevisions(Endpoint):
    """Revisions of a quote. POST creates the next draft: a quote, or a variation if a quote is accepted."""

    scopes = {"GET": Scope.QUOTES_READ, "POST": Scope.QUOTES_WRITE}
    idempotent = frozenset({"POST"})
    paged = True
    parameters = _FILTERS

    @extend_schema(responses={200: page_of(api_fields.REVISION_SCHEMA)}, summary="List revisions of a quote")
    def get(self, request: Request, ref: str) -> Response:
        quote = self.find(queries.quotes(self.business), ref)
        rows = queries.revisions(self.business, request.query_params.dict()).filter(quote=quote)
        return self.page(rows, api_fields.revisions_in(self.business.currency))

    @extend_schema(
        request=ReviseIn, responses={201: api_fields.REVISION_FULL_SCHEMA}, summary="Create the next revision"
    )
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(ReviseIn)
        quote = self.find(queries.quotes(self.business), ref)
        draft = services.revise(quote=quote, actor=self.actor, version=_version(self, body))
        return _created(self, draft)


class Revisions(Endpoint):
    """List of the revisions of all quotes, newest first."""

    scopes = {"GET": Scope.QUOTES_READ}
    paged = True
    parameters = {**_FILTERS, "quote": "The ref of a quote.", "job": "The ref of a job."}

    @extend_schema(responses={200: page_of(api_fields.REVISION_SCHEMA)}, summary="List revisions")
    def get(self, request: Request) -> Response:
        asked = request.query_params.dict()
        return self.page(
            lambda: queries.revisions(self.business, asked),
            api_fields.revisions_in(self.business.currency),
            all_of=self.business,
        )


class RevisionDetail(Endpoint):
    """A revision. PUT replaces the setup of a draft; DELETE deletes a draft."""

    scopes = {"GET": Scope.QUOTES_READ, "PUT": Scope.QUOTES_WRITE, "DELETE": Scope.QUOTES_WRITE}

    @extend_schema(responses={200: api_fields.REVISION_FULL_SCHEMA}, summary="Get a revision")
    def get(self, request: Request, ref: str) -> Response:
        revision = self.find(_whole(self), ref)
        return self.one(api_fields.revision_full(revision), revision)

    @extend_schema(
        request=SetupChange, responses={200: api_fields.REVISION_FULL_SCHEMA}, summary="Replace the draft setup"
    )
    def put(self, request: Request, ref: str) -> Response:
        revision = self.get_for_update(_whole(self), ref)
        body = self.validated_data(SetupChange)
        services.change_draft(revision=revision, actor=self.actor, setup=_setup(body), version=_version(self, body))
        return self.one(api_fields.revision_full(revision), revision)

    @extend_schema(responses={204: None}, summary="Delete a draft")
    def delete(self, request: Request, ref: str) -> Response:
        services.discard_draft(revision=_locked_quote_first(self, ref), actor=self.actor)
        return Response(status=204)


class RevisionContent(Endpoint):
    """The content document of a revision: frozen after sending, a preview while it is a draft."""

    scopes = {"GET": Scope.QUOTES_READ}
    refuses = {"GET": ("422",)}

    @extend_schema(responses={200: DOCUMENT}, summary="Get the content document")
    def get(self, request: Request, ref: str) -> Response:
        revision = self.find(_whole(self), ref)
        is_draft = revision.state == RevisionState.DRAFT
        content = assemble(revision, now=timezone.now()) if is_draft else queries.content_of(revision)
        sees_costs = self.actor.may(Scope.PRICES_READ)
        response = Response(plain(content) if sees_costs else queries.without_costs(content))
        if not is_draft:
            response["ETag"] = f'"{revision.content_sha256}{"" if sees_costs else ".prices"}"'
        return response


class RevisionSending(Endpoint):
    """Send action: freezes the revision and issues links to its parties."""

    scopes = {"POST": Scope.QUOTES_WRITE}
    idempotent = frozenset({"POST"})
    needs_if_match = frozenset({"POST"})

    @extend_schema(request=SendIn, responses={200: api_fields.REVISION_FULL_SCHEMA}, summary="Send a draft")
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(SendIn)
        revision = _locked_quote_first(self, ref)
        sent = services.send(revision=revision, actor=self.actor, override_reason=body.get("override_reason", ""))
        return self.one(api_fields.revision_full(sent), sent)


class Parties(Endpoint):
    """Parties of a revision with their responses."""

    scopes = {"GET": Scope.QUOTES_READ}
    paged = True

    @extend_schema(responses={200: page_of(api_fields.PARTY_SCHEMA)}, summary="List parties of a revision")
    def get(self, request: Request, ref: str) -> Response:
        revision = self.find(queries.revisions(self.business), ref)
        shared = SharedQuery("revision", (self.business.pk, revision.pk))
        page = self.page(lambda: queries.parties(revision), api_fields.PARTIES, by="id", shared=shared)
        data: Any = page.data
        data["items"] = api_fields.with_links(revision, data["items"])
        return page


class PartyLink(Endpoint):
    """Signed link of a party. POST creates a new link and revokes the earlier one; DELETE revokes the link."""

    scopes = {"POST": Scope.QUOTES_WRITE, "DELETE": Scope.QUOTES_WRITE}
    unconditional = frozenset({"DELETE"})

    @extend_schema(request=None, responses={201: api_fields.ISSUED_SCHEMA}, summary="Create a new link for a party")
    def post(self, request: Request, ref: str, key: str) -> Response:
        """Return the address only once; a party with an e-mail address gets it by e-mail."""
        _, party = _party(self, ref, key)
        link = reissue_link(party=party, actor=self.actor)
        response = Response({"address": address_of(link), "expires_at": link.expires_at}, status=201)
        response["Cache-Control"] = "no-store"
        return response

    @extend_schema(responses={204: None}, summary="Revoke a party's link")
    def delete(self, request: Request, ref: str, key: str) -> Response:
        revision, party = _party(self, ref, key)
        link = queries.live_links(revision).get(party.pk)
        if link is not None:
            revoke_link(link=link, actor=self.actor)
        return Response(status=204)


class PartyDocument(Endpoint):
    """Document of a party: the source of its page and its PDF."""

    scopes = {"GET": Scope.QUOTES_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(responses={200: DOCUMENT}, summary="Get a party's document")
    def get(self, request: Request, ref: str, key: str) -> Response:
        revision, party = _party(self, ref, key)
        content, choices = queries.content_and_choices(revision)
        return Response(plain(party_document(content, party.key, choices)))


class Questions(Endpoint):
    """List of customers' questions, newest first."""

    scopes = {"GET": Scope.QUOTES_READ}
    paged = True
    parameters = {"answered": "false: only questions without an answer; true: only answered questions."}

    @extend_schema(responses={200: page_of(api_fields.QUESTION_SCHEMA)}, summary="List questions")
    def get(self, request: Request) -> Response:
        rows = queries.questions(self.business)
        answered = self.flag("answered")
        if answered is not None:
            rows = rows.exclude(replied_at=None) if answered else rows.filter(replied_at=None)
        return self.page(rows, api_fields.QUESTIONS, all_of=self.business)


class QuestionReply(Endpoint):
    """Reply to a question."""

    scopes = {"POST": Scope.QUOTES_WRITE}

    @extend_schema(request=ReplyIn, responses={200: api_fields.QUESTION_SCHEMA}, summary="Answer a question")
    def post(self, request: Request, ref: str) -> Response:
        rows = queries.questions(self.business).select_related("party", "revision__quote__job", "business")
        question = self.find(rows, ref)
        return Response(
            api_fields.QUESTIONS.of(
                reply(question=question, text=self.validated_data(ReplyIn)["text"], actor=self.actor)
            )
        )


class JobSetOut(Endpoint):
    """Set-out document for the crew, without money."""

    scopes = {"GET": Scope.SET_OUT_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(responses={200: DOCUMENT}, summary="Get the set-out document")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(jobs(self.business), ref)
        revision = queries.agreed(job)
        if revision is None:
            raise Problem("conflict", "This job has no accepted quote yet.")
        response = Response(plain(crew_document(*queries.content_and_choices(revision))))
        response["ETag"] = f'"{revision.ref}.{revision.version}"'
        return response


class JobComparison(Endpoint):
    """Comparison of quoted, ordered and used materials by role, with costs."""

    scopes = {"GET": Scope.PRICES_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(responses={200: api_fields.COMPARISON_SCHEMA}, summary="Compare quoted, ordered and used materials")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(jobs(self.business).select_related("business"), ref)
        return Response(compare_built(job))


def _party(endpoint: Endpoint, ref: str, key: str) -> tuple[Revision, Party]:
    rows = queries.revisions(endpoint.business).select_related("quote__job", "business")
    revision = endpoint.find(rows, ref)
    party = queries.parties(revision).select_related("business").filter(key=key).first()
    if party is None:
        raise Problem("not-found")
    return revision, party


def _whole(endpoint: Endpoint) -> QuerySet[Revision]:
    rows = queries.revisions(endpoint.business)
    return rows.select_related(
        "quote__job__customer", "quote__job__site", "measure_version__measure", "base_revision", "business"
    )


def _locked_quote_first(endpoint: Endpoint, ref: str) -> Revision:
    """Return a revision, locked after its job and quote, like for every change of a quote's state."""
    services.lock_quote(endpoint.find(_whole(endpoint), ref).quote)
    return endpoint.get_for_update(_whole(endpoint), ref)


def _setup(body: JsonObject) -> DraftSetup:
    with pointing("/setup"):
        return checked_setup(body.get("setup") or {})


def _created(endpoint: Endpoint, draft: Revision) -> Response:
    response = endpoint.one(api_fields.revision_full(draft), draft, status=201)
    response["Location"] = f"/api/v1/revisions/{draft.ref}"
    return response


def _version(endpoint: Endpoint, body: JsonObject) -> MeasureVersion | None:
    return find_version(endpoint, body["measure"], body.get("version")) if body.get("measure") else None
