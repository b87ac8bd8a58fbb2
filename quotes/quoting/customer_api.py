"""Customer API: access by a signed link, without signing in."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from msgspec.structs import replace
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.jobs.api_fields import DOCUMENT, shape
from quotes.quoting.customer_responses import accept, ask, decline, open_link
from quotes.quoting.json_values import plain
from quotes.quoting.party_documents import Receipt
from quotes.quoting.serializers import AcceptIn, AskIn, DeclineIn
from shared.api.endpoint import Endpoint
from shared.common.problems import Problem
from shared.web import rate_limit

WRONG_A_MINUTE = 20

VIEW_SCHEMA = shape(
    ("content_sha256", "status", "response", "blocked_reason"),
    document=DOCUMENT,
    can_respond={"type": "boolean"},
    receipt={"type": ["object", "null"], "additionalProperties": True},
    questions={"type": "array", "items": DOCUMENT},
)
RECEIPT_SCHEMA = shape(("response", "name", "responded_at", "number", "total", "content_sha256"), choices=DOCUMENT)


class LinkEndpoint(Endpoint):
    """Base of the customer endpoints. It limits requests with invalid links, like the customer page."""

    public = True
    refuses = {"POST": ("410",)}

    def handle_exception(self, exc: Exception) -> Response:
        if isinstance(exc, Problem) and exc.code == "gone":
            caller = f"ip:{rate_limit.client_ip(self.request._request)}"
            standing = rate_limit.count(caller, policy="link", quota=WRONG_A_MINUTE, window_s=60)
            if standing.exceeded:
                wait = {"violated-policies": [standing.policy]}
                exc = Problem("quota-exceeded", headers=standing.headers(), members=wait)
        return super().handle_exception(exc)


class LinkDetail(LinkEndpoint):
    """The quote of a link, as its party may see it. Reading it does not change the response."""

    refuses = {"GET": ("410", "422")}
    parameters = {"build": "The alternative to calculate with.", "options": "Keys of options, separated by commas."}

    @extend_schema(responses={200: VIEW_SCHEMA}, summary="Get a quote by its link")
    def get(self, request: Request, token: str) -> Response:
        asked: dict[str, str | list[str]] = {}
        if build := request.query_params.get("build", ""):
            asked["build"] = build
        if options := request.query_params.get("options", ""):
            asked["options"] = options.split(",")
        view = open_link(token, asked or None)
        return _private(Response({name: plain(getattr(view, name)) for name in VIEW_SCHEMA["properties"]}))


class LinkAcceptance(LinkEndpoint):
    """Accept action. A repeated request gives the same receipt."""

    @extend_schema(request=AcceptIn, responses={200: RECEIPT_SCHEMA, 201: RECEIPT_SCHEMA}, summary="Accept a quote")
    def post(self, request: Request, token: str) -> Response:
        return _receipt(accept(token=token, **self.validated_data(AcceptIn)))


class LinkRefusal(LinkEndpoint):
    """Decline action."""

    @extend_schema(request=DeclineIn, responses={200: RECEIPT_SCHEMA, 201: RECEIPT_SCHEMA}, summary="Decline a quote")
    def post(self, request: Request, token: str) -> Response:
        return _receipt(decline(token=token, **self.validated_data(DeclineIn)))


class LinkQuestions(LinkEndpoint):
    """Questions of the customer to the business."""

    @extend_schema(request=AskIn, responses={201: shape(("ref", "text"))}, summary="Ask a question")
    def post(self, request: Request, token: str) -> Response:
        question = ask(token=token, **self.validated_data(AskIn))
        return _private(Response({"ref": question.ref, "text": question.text}, status=201))


def _receipt(receipt: Receipt) -> Response:
    return _private(Response(plain(replace(receipt, is_new=False)), status=201 if receipt.is_new else 200))


def _private(response: Response) -> Response:
    response["Cache-Control"] = "no-store"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response
