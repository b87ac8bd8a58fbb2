"""Every refusal of the API is one RFC 9457 problem document.

Raise ``Problem("conflict", "This quote was accepted already.")`` anywhere below an endpoint, or let a
``fencing.faults.Refused`` pass: it becomes a 422 with a pointer for each fault.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping
from http import HTTPStatus
from typing import Any, Final

import orjson
from django.conf import settings
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from rest_framework import exceptions
from rest_framework.response import Response

from fencing.faults import Refused
from shared import tracing

MEDIA_TYPE: Final = "application/problem+json"
_log = logging.getLogger("baywright.problems")

# code: (status, title, what a caller can do about it). Codes only ever get more: callers branch on them.
KNOWN: Final[Mapping[str, tuple[int, str, str]]] = {
    "malformed": (400, "Malformed request", "Send well-formed JSON in UTF-8, and well-formed parameters."),
    "bad-cursor": (400, "Unknown cursor", "Use the next address exactly as it was given, with the same key."),
    "bad-parameter": (400, "Bad parameter", "Look at errors: each names a parameter and what it accepts."),
    "idempotency-key-missing": (400, "Idempotency-Key missing", "Send an Idempotency-Key: a fresh id for each new intent."),
    "unauthenticated": (401, "Not signed in", "Send a live key as Authorization: Bearer, or sign in."),
    "forbidden": (403, "Not allowed", "Use a key or a role that has the scope named in detail."),
    "suspended": (403, "Business suspended", "A suspended business can be read and exported, not changed."),
    "not-found": (404, "Not found", "Check the address; what belongs to others looks just like what does not exist."),
    "method-not-allowed": (405, "Method not allowed", "Use a method named in the Allow header."),
    "not-acceptable": (406, "Not acceptable", "Ask for application/json or one of the documented types."),
    "conflict": (409, "Not possible now", "Fetch the thing again and look at its state."),
    "in-flight": (409, "Still being worked on", "The first call with this Idempotency-Key is not finished; wait and repeat."),
    "gone": (410, "Gone", "This can't be had any more."),
    "precondition-failed": (412, "Changed in between", "Fetch the newest version, look at it, and repeat with its ETag."),
    "too-large": (413, "Too large", "Send less at once; the limits are on the documentation page."),
    "unsupported-media-type": (415, "Unsupported media type", "Send the documented Content-Type."),
    "invalid": (422, "Not acceptable as it is", "Look at errors: each points at a member and says what would be accepted."),
    "idempotency-key-reused": (422, "Idempotency-Key reused", "This key was used with another body; take a fresh one."),
    "precondition-required": (428, "If-Match missing", "Send If-Match with the ETag of the version you looked at."),
    "quota-exceeded": (429, "Too many calls", "Wait as long as Retry-After says."),
    "internal": (500, "Our fault", "Report the request id in instance."),
    "unavailable": (503, "Not available now", "Try again a little later."),
}  # fmt: skip

_DRF_CODES: Final = {
    400: "malformed", 401: "unauthenticated", 403: "forbidden", 404: "not-found", 405: "method-not-allowed",
    406: "not-acceptable", 415: "unsupported-media-type", 429: "quota-exceeded",
}  # fmt: skip


class Problem(Exception):
    """A refusal with a known code. ``errors`` name places: a pointer, parameter or header, a code, a sentence."""

    def __init__(
        self,
        code: str,
        detail: str = "",
        *,
        errors: Iterable[Mapping[str, str]] = (),
        headers: Mapping[str, str] | None = None,
        members: Mapping[str, Any] | None = None,
    ) -> None:
        self.code = code
        self.status, self.title, advice = KNOWN[code]
        self.detail = detail or advice
        self.errors = [dict(error) for error in errors]
        self.headers = dict(headers or {})
        self.members = dict(members or {})
        super().__init__(f"{code}: {self.detail}")

    def document(self) -> dict[str, Any]:
        """The body of the answer."""
        document: dict[str, Any] = {
            "type": f"{settings.PUBLIC_URL}/api/docs/problems/{self.code}",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            "instance": f"urn:request:{tracing.request_id()}",
            "code": self.code,
            **self.members,
        }
        if self.errors:
            document["errors"] = self.errors
        return document


def from_refusal(refused: Refused) -> Problem:
    """Each fault of a refused document, with its pointer as a URI fragment (RFC 6901, section 6)."""
    errors = [{"pointer": f"#{fault.pointer}", "code": fault.code, "detail": fault.text} for fault in refused.faults]
    return Problem("invalid", errors=errors)


def from_validation(fault: ValidationError) -> Problem:
    """A model's own refusal, field by field."""
    if not hasattr(fault, "error_dict"):
        return Problem(
            "invalid", errors=[{"pointer": "#", "code": "invalid", "detail": text} for text in fault.messages]
        )
    errors = [
        {"pointer": "#" if name == "__all__" else f"#/{name}", "code": str(part.code or "invalid"), "detail": text}
        for name, parts in fault.error_dict.items()
        for part in parts
        for text in part.messages
    ]
    return Problem("invalid", errors=errors)


def as_problem(fault: BaseException) -> Problem | None:
    """The problem an exception stands for; None when it is a mistake of ours."""
    match fault:
        case Problem():
            return fault
        case Refused():
            return from_refusal(fault)
        case ValidationError():
            return from_validation(fault)
        case Http404():
            return Problem("not-found")
        case PermissionDenied():
            return Problem("forbidden")
        case RequestDataTooBig():
            return Problem("too-large")
        case SuspiciousOperation():
            return Problem("malformed")
        case exceptions.APIException():
            return _from_drf(fault)
    return None


def _from_drf(fault: exceptions.APIException) -> Problem:
    code = _DRF_CODES.get(fault.status_code, "internal")
    headers = {}
    if isinstance(fault, exceptions.UnsupportedMediaType):
        headers["Accept"] = "application/json"
    detail = "" if isinstance(fault, exceptions.ValidationError) else str(fault.detail)
    return Problem(code, detail, headers=headers)


def answer_exception(fault: Exception, context: Mapping[str, Any]) -> Response | None:
    """DRF's exception handler: problems become answers; anything else goes on to be a logged 500."""
    problem = as_problem(fault)
    if problem is None:
        return None
    headers = dict(problem.headers)
    if problem.status == HTTPStatus.UNAUTHORIZED:
        headers.setdefault("WWW-Authenticate", 'Bearer realm="baywright"')
    if problem.status == HTTPStatus.METHOD_NOT_ALLOWED and context.get("view") is not None:
        headers["Allow"] = ", ".join(context["view"].allowed_methods)
    response = Response(problem.document(), status=problem.status, headers=headers)
    response.content_type = MEDIA_TYPE
    return response


def plain_answer(problem: Problem) -> HttpResponse:
    """The same outside of DRF: unknown addresses, refused hosts, our own mistakes."""
    response = HttpResponse(orjson.dumps(problem.document()), status=problem.status, content_type=MEDIA_TYPE)
    for name, value in problem.headers.items():
        response[name] = value
    return response


class ApiProblemMiddleware:
    """Under /api/ nothing is ever answered in HTML: what Django itself refuses is told as a problem too."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self._get_response(request)
        status = response.status_code
        refused_in_html = status >= HTTPStatus.BAD_REQUEST and response.get("Content-Type", "").startswith("text/html")
        if request.path.startswith("/api/") and refused_in_html and not request.path.startswith("/api/docs/"):
            return plain_answer(Problem(_DRF_CODES.get(status, "internal")))
        return response

    def process_exception(self, request: HttpRequest, fault: Exception) -> HttpResponse | None:
        """The stack goes to the log under the request's id; the caller gets the id alone."""
        if not request.path.startswith("/api/"):
            return None
        problem = as_problem(fault)
        if problem is None:
            _log.error("unexpected fault", exc_info=fault)
            problem = Problem("internal")
        return plain_answer(problem)
