"""Parties and their links, their questions, the crew's document, and quoted against built."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.jobs.api_fields import DOCUMENT
from quotes.jobs.queries import jobs
from quotes.quoting import queries
from quotes.quoting.api_fields import (
    COMPARISON_SCHEMA,
    ISSUED_SCHEMA,
    PARTIES,
    PARTY_SCHEMA,
    QUESTION_SCHEMA,
    QUESTIONS,
    with_links,
)
from quotes.quoting.customer_responses import reply
from quotes.quoting.job_comparison import compare_built
from quotes.quoting.models import Party, Revision
from quotes.quoting.party_documents import crew_document, party_document
from quotes.quoting.serializers import ReplyIn
from quotes.quoting.signed_links import address_of, reissue_link, revoke_link
from quotes.quoting.totals import read_choices
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.problems import Problem
from shared.api.row_serializer import SharedQuery
from shared.business.roles import Scope


class Parties(Endpoint):
    """Who pays a revision, and what each answered."""

    scopes = {"GET": Scope.QUOTES_READ}
    paged = True

    @extend_schema(responses={200: page_of(PARTY_SCHEMA)}, summary="Parties of a revision")
    def get(self, request: Request, ref: str) -> Response:
        revision = self.find(queries.revisions(self.business), ref)
        alike = SharedQuery("revision", (self.business.pk, revision.pk))
        page = self.page(lambda: queries.parties(revision), PARTIES, by="id", alike=alike)
        data: Any = page.data
        data["items"] = with_links(revision, data["items"])
        return page


class PartyLink(Endpoint):
    """The signed link of a party: POST makes a new one and ends the one before; DELETE ends it."""

    scopes = {"POST": Scope.QUOTES_WRITE, "DELETE": Scope.QUOTES_WRITE}
    unconditional = frozenset({"DELETE"})

    @extend_schema(request=None, responses={201: ISSUED_SCHEMA}, summary="A new link for a party")
    def post(self, request: Request, ref: str, key: str) -> Response:
        """The address is told this once, and mailed where the party has an e-mail address."""
        _, party = _party(self, ref, key)
        link = reissue_link(party=party, actor=self.actor)
        response = Response({"address": address_of(link), "expires_at": link.expires_at}, status=201)
        response["Cache-Control"] = "no-store"
        return response

    @extend_schema(responses={204: None}, summary="End a party's link")
    def delete(self, request: Request, ref: str, key: str) -> Response:
        revision, party = _party(self, ref, key)
        link = queries.live_links(revision).get(party.pk)
        if link is not None:
            revoke_link(link=link, actor=self.actor)
        return Response(status=204)


class PartyDocument(Endpoint):
    """What one party sees: the very document its page and its PDF are made of."""

    scopes = {"GET": Scope.QUOTES_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(responses={200: DOCUMENT}, summary="A party's document")
    def get(self, request: Request, ref: str, key: str) -> Response:
        revision, party = _party(self, ref, key)
        content = queries.content_of(revision)
        return Response(party_document(content, party.key, read_choices(content, revision.choices)))


class Questions(Endpoint):
    """What customers ask, from the newest."""

    scopes = {"GET": Scope.QUOTES_READ}
    paged = True
    parameters = {"open": "yes: only those that wait for an answer."}

    @extend_schema(responses={200: page_of(QUESTION_SCHEMA)}, summary="Questions")
    def get(self, request: Request) -> Response:
        rows = queries.questions(self.business)
        if request.query_params.get("open") == "yes":
            rows = rows.filter(replied_at=None)
        return self.page(rows, QUESTIONS, all_of=self.business)


class QuestionReply(Endpoint):
    """Answering a question."""

    scopes = {"POST": Scope.QUOTES_WRITE}

    @extend_schema(request=ReplyIn, responses={200: QUESTION_SCHEMA}, summary="Answer a question")
    def post(self, request: Request, ref: str) -> Response:
        rows = queries.questions(self.business).select_related("party", "revision__quote__job", "business")
        question = self.find(rows, ref)
        return Response(QUESTIONS.of(reply(question=question, text=self.read(ReplyIn)["text"], actor=self.actor)))


class JobSetOut(Endpoint):
    """What is to be built, for the crew: no money in it."""

    scopes = {"GET": Scope.SETOUT_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(responses={200: DOCUMENT}, summary="What was agreed to be built")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(jobs(self.business), ref)
        revision = queries.agreed(job)
        if revision is None:
            raise Problem("conflict", "This job has no accepted quote yet.")
        response = Response(crew_document(queries.content_of(revision), revision.choices))
        response["ETag"] = f'"{revision.ref}.{revision.version}"'
        return response


class JobComparison(Endpoint):
    """Quoted against ordered against used, per role, with the money."""

    scopes = {"GET": Scope.PRICES_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(responses={200: COMPARISON_SCHEMA}, summary="Quoted, ordered and used")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(jobs(self.business).select_related("business"), ref)
        return Response(compare_built(job))


def _party(endpoint: Endpoint, ref: str, key: str) -> tuple[Revision, Party]:
    rows: Any = queries.revisions(endpoint.business).select_related("quote__job", "business")
    revision: Revision = endpoint.find(rows, ref)
    party = queries.parties(revision).select_related("business").filter(key=key).first()
    if party is None:
        raise Problem("not-found")
    return revision, party
