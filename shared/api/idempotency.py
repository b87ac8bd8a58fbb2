"""Idempotency keys: a POST that is sent twice has one effect, and the second call gets the first response again.

The response is stored in the same transaction as the effect. A key belongs to one caller and one address, and is stored for
48 hours.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from datetime import timedelta

from django.db import IntegrityError, models, transaction
from django.http import HttpRequest
from django.utils import timezone
from rest_framework.response import Response

from shared.api.error_handler import answer_exception, as_problem
from shared.api.idempotency_models import STORED_FOR, IdempotentCall
from shared.common.json_encoder import write_json
from shared.common.problems import MEDIA_TYPE, Problem
from shared.database.errors import retry_deadlock

_ABANDONED = timedelta(minutes=2)  # longer than any request may take: its process has ended
_KEY = re.compile(r"[\x21-\x7e]{1,200}\Z")
_HEADERS = ("Location", "ETag")


def key_of(request: HttpRequest) -> str:
    """Return the key of a request, sent as a quoted string (RFC 9651) or as plain text."""
    raw = request.headers.get("Idempotency-Key", "").strip()
    key = raw[1:-1] if len(raw) > 1 and raw[0] == raw[-1] == '"' else raw
    if not key:
        raise Problem("idempotency-key-missing")
    if not _KEY.match(key):
        fault = {"header": "Idempotency-Key", "code": "key", "detail": "1 to 200 printable characters, no spaces."}
        raise Problem("invalid-parameter", errors=[fault])
    return key


def run_once(call: Callable[[], Response], *, holder: str, request: HttpRequest) -> Response:
    """Run ``call`` in a transaction for a new key; return the stored response for a known key."""
    route, key = f"{request.method} {request.path}"[:300], key_of(request)
    body_sha256 = hashlib.sha256(request.body).hexdigest()
    mine = _begin(holder, route, key, body_sha256)
    if mine is None:
        return _repeat_answer(IdempotentCall.objects.filter(holder=holder, route=route, key=key).first(), body_sha256)

    @retry_deadlock
    @transaction.atomic
    def answer() -> Response:
        response = call()
        _finish(mine, response)
        return response

    try:
        return answer()
    except Exception as fault:
        problem = as_problem(fault)
        data = answer_exception(problem, {}) if problem else None
        if data is None or data.status_code in (400, 429, 503):
            mine.delete()  # nothing was stored, or the body was incomplete: the same key may be used again
            raise
        _finish(mine, data)
        raise


def _begin(holder: str, route: str, key: str, body_sha256: str) -> IdempotentCall | None:
    same = IdempotentCall.objects.filter(holder=holder, route=route, key=key)
    now = timezone.now()
    same.filter(
        models.Q(started_at__lt=now - STORED_FOR) | models.Q(started_at__lt=now - _ABANDONED, status=None)
    ).delete()
    try:
        with transaction.atomic():
            return IdempotentCall.objects.create(holder=holder, route=route, key=key, body_sha256=body_sha256)
    except IntegrityError:
        return None


def _finish(mine: IdempotentCall, response: Response) -> None:
    mine.status = response.status_code
    mine.headers = {name: response[name] for name in _HEADERS if name in response}
    mine.body = "" if response.data is None else write_json(response.data).decode()
    mine.save(update_fields=["status", "headers", "body"])


def _repeat_answer(first: IdempotentCall | None, body_sha256: str) -> Response:
    if first is None or (first.status is None and first.body_sha256 == body_sha256):
        raise Problem("request-in-progress", headers={"Retry-After": "1"})
    if first.body_sha256 != body_sha256:
        raise Problem("idempotency-key-reused")
    response = Response(
        first.body.encode() or None, status=first.status, headers={**first.headers, "Idempotent-Replay": "?1"}
    )
    if first.status is not None and first.status >= 400:
        response.content_type = MEDIA_TYPE
    return response
