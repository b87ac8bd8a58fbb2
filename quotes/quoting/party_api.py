"""API of parties, links, questions, the set-out document and the material comparison."""

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
from quotes.quoting.json_values import plain
from quotes.quoting.models import Party, Revision
from quotes.quoting.party_documents import crew_document, party_document
from quotes.quoting.serializers import ReplyIn
from quotes.quoting.signed_links import address_of, reissue_link, revoke_link
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import SharedQuery
from shared.business.roles import Scope
from shared.common.problems import Problem


class Parties(Endpoint):
    """Parties of a revision with their responses."""

    scopes = {"GET": Scope.QUOTES_READ}
    paged = True

    @extend_schema(responses={200: page_of(PARTY_SCHEMA)}, summary="List parties of a revision")
    def get(self, request: Request, ref: str) -> Response:
        revision = self.find(queries.revisions(self.business), ref)
        shared = SharedQuery("revision", (self.business.pk, revision.pk))
        page = self.page(lambda: queries.parties(revision), PARTIES, by="id", shared=shared)
        data: Any = page.data
        data["items"] = with_links(revision, data["items"])
        return page


class PartyLink(Endpoint):
    """Signed link of a party. POST creates a new link and revokes the earlier one; DELETE revokes the link."""

    scopes = {"POST": Scope.QUOTES_WRITE, "DELETE": Scope.QUOTES_WRITE}
    unconditional = frozenset({"DELETE"})

    @extend_schema(request=None, responses={201: ISSUED_SCHEMA}, summary="Create a new link for a party")
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

    @extend_schema(responses={200: page_of(QUESTION_SCHEMA)}, summary="List questions")
    def get(self, request: Request) -> Response:
        rows = queries.questions(self.business)
        answered = self.flag("answered")
        if answered is not None:
            rows = rows.exclude(replied_at=None) if answered else rows.filter(replied_at=None)
        return self.page(rows, QUESTIONS, all_of=self.business)


class QuestionReply(Endpoint):
    """Reply to a question."""

    scopes = {"POST": Scope.QUOTES_WRITE}

    @extend_schema(request=ReplyIn, responses={200: QUESTION_SCHEMA}, summary="Answer a question")
    def post(self, request: Request, ref: str) -> Response:
        rows = queries.questions(self.business).select_related("party", "revision__quote__job", "business")
        question = self.find(rows, ref)
        return Response(
            QUESTIONS.of(reply(question=question, text=self.validated_data(ReplyIn)["text"], actor=self.actor))
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

    @extend_schema(responses={200: COMPARISON_SCHEMA}, summary="Compare quoted, ordered and used materials")
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
