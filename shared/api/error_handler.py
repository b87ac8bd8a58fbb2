"""Conversion of exceptions into problem responses of the API, inside and outside Django REST framework."""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Any, Final

import orjson
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation, ValidationError
from django.http import Http404, HttpRequest, HttpResponse, UnreadablePostError
from rest_framework import exceptions
from rest_framework.response import Response

from fencing.model.faults import InvalidDocument
from shared.common.problems import MEDIA_TYPE, Problem, from_refusal, from_validation
from shared.database.errors import RETRY_AFTER_S, is_unavailable, note_unavailable
from shared.web.page_errors import internal_error, not_available

_log = logging.getLogger("baywright.problems")
_DRF_CODES: Final = {
    400: "malformed", 401: "unauthenticated", 403: "forbidden", 404: "not-found", 405: "method-not-allowed",
    406: "not-acceptable", 412: "precondition-failed", 415: "unsupported-media-type", 429: "quota-exceeded",
}  # fmt: skip


def as_problem(fault: BaseException) -> Problem | None:
    """Return the problem for an exception; None for a programming error."""
    match fault:
        case Problem():
            return fault
        case InvalidDocument():
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
        case UnreadablePostError():
            return Problem("malformed", str(fault))
        case exceptions.APIException():
            return _from_drf(fault)
    return _from_database(fault)


def _from_database(fault: BaseException) -> Problem | None:
    if not is_unavailable(fault):
        return None
    note_unavailable(fault)
    return unavailable()


def unavailable() -> Problem:
    """Return the problem of a database that is down or a disk that is full."""
    return Problem("unavailable", headers={"Retry-After": str(RETRY_AFTER_S)})


def _from_drf(fault: exceptions.APIException) -> Problem:
    code = _DRF_CODES.get(fault.status_code, "internal")
    headers = {}
    if isinstance(fault, exceptions.UnsupportedMediaType):
        headers["Accept"] = "application/json"
    detail = "" if isinstance(fault, exceptions.ValidationError) else str(fault.detail)
    return Problem(code, detail, headers=headers)


def answer_exception(fault: Exception, context: Mapping[str, Any]) -> Response | None:
    """Return the response for an exception, as Django REST framework's handler. None leads to a logged 500."""
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
    """Return the response outside Django REST framework, for unknown addresses, rejected hosts and programming errors."""
    response = HttpResponse(orjson.dumps(problem.document()), status=problem.status, content_type=MEDIA_TYPE)
    for name, value in problem.headers.items():
        response[name] = value
    return response


class ApiProblemMiddleware:
    """Middleware that replaces Django's HTML error pages below /api/ by problem documents."""

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
        """Log the traceback with the request id, and return only the id."""
        if not request.path.startswith("/api/"):
            return None
        problem = as_problem(fault)
        if problem is None:
            _log.error("unexpected fault", exc_info=fault)
            problem = Problem("internal")
        return plain_answer(problem)


def handler500(request: HttpRequest) -> HttpResponse:
    """Answer an unhandled error: 503 if it may pass, 500 for a programming error.

    Django calls it inside the ``except`` of each layer, so that errors in middlewares are included.
    """
    fault = sys.exc_info()[1]
    if fault is None or not is_unavailable(fault):
        return internal_error()
    note_unavailable(fault)
    if request.path.startswith("/api/"):
        return plain_answer(unavailable())
    response = not_available()
    response["Retry-After"] = str(RETRY_AFTER_S)
    return response
