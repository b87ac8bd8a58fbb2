"""Base class of every API endpoint. DEVELOPERS.md shows how to write one."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any, ClassVar, Final, TypeVar

from django.conf import settings
from django.db import models, transaction
from django.utils.http import http_date
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from shared.api import idempotency, pagination
from shared.api.row_serializer import Rows, SharedQuery
from shared.api.serializers import validated_data
from shared.business.actors import Actor
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.dates import activate_dates, dates_by
from shared.common.problems import MEDIA_TYPE, Problem
from shared.common.request_id import masked
from shared.database.errors import retry_deadlock
from shared.web import etags, rate_limit

RowT = TypeVar("RowT", bound=models.Model)
_SAFE = ("GET", "HEAD", "OPTIONS")
_PAGING = ("cursor", "page_size")
NOTICE: Final = timedelta(days=90)
"""Minimum time between the announcement of a deprecation and the end of the address."""
_log = logging.getLogger("baywright.deprecation")


@dataclass(frozen=True, slots=True)
class Deprecation:
    """End of an address: ``since`` and ``ends`` are times in UTC, ``instead`` is the address that replaces it, if any.

    Raises:
        ValueError: if ``ends`` is less than 90 days after ``since``, or a time is not in UTC.

    Source: RFC 9745 (Deprecation), RFC 8594 (Sunset), RFC 5829 (successor-version).
    """

    since: datetime
    ends: datetime
    instead: str = ""

    def __post_init__(self) -> None:
        if self.since.tzinfo is not UTC or self.ends.tzinfo is not UTC:
            raise ValueError("give both times in UTC")
        if self.ends - self.since < NOTICE:
            raise ValueError(f"an address ends at least {NOTICE.days} days after its announcement")

    def headers(self) -> Mapping[str, str]:
        """Return the response headers."""
        guide = f"{settings.PUBLIC_URL}/api/docs/"
        links = [f'<{guide}>; rel="deprecation"', f'<{guide}>; rel="sunset"']
        if self.instead:
            links.append(f'<{settings.PUBLIC_URL}{self.instead}>; rel="successor-version"')
        return {
            "Deprecation": f"@{int(self.since.timestamp())}",
            "Sunset": http_date(self.ends.timestamp()),
            "Link": ", ".join(links),
        }


class Endpoint(APIView):
    """API view that authenticates, checks the scope, counts the call and runs every write in one transaction."""

    scopes: ClassVar[Mapping[str, Scope]] = {}
    """Scope that each method needs. A method without a scope is not available, unless ``public`` is set."""
    public: ClassVar[bool] = False
    """Available without signing in, without a business."""
    idempotent: ClassVar[frozenset[str]] = frozenset()
    """Methods that need an Idempotency-Key, because they create amounts or orders."""
    computes_only: ClassVar[bool] = False
    """Stores nothing: no transaction is opened, and suspended businesses may use it."""
    parameters: ClassVar[Mapping[str, str]] = {}
    """Query parameters with their descriptions; any other parameter is rejected."""
    unconditional: ClassVar[frozenset[str]] = frozenset()
    """Methods that change data and need no If-Match."""
    needs_if_match: ClassVar[frozenset[str]] = frozenset()
    """Actions on a version that a person has seen, such as sending or cancelling: they need If-Match."""
    refuses: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    """Additional error statuses of each method, for the documentation."""
    deprecated: ClassVar[Mapping[str, Deprecation]] = {}
    """Deprecated methods; their responses state since when, until when and what to use instead."""
    paged: ClassVar[bool] = False
    """GET returns a page and accepts cursor and page_size."""

    standing: rate_limit.RateLimitStatus | None = None

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Answer a request in the time zone and locale of its business."""
        with dates_by("UTC", "en"):
            return super().dispatch(request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Check a request before its method runs."""
        try:
            super().initial(request, *args, **kwargs)
        except Exception:
            self._count(f"ip:{rate_limit.client_ip(request._request)}")  # a wrong key counts as a call
            raise
        if isinstance(request.auth, Actor) and request.auth.business is not None:
            activate_dates(request.auth.business)
        self._count(self._holder())
        self._check_scope(request)
        self._check_parameters(request)
        # the parsers use Content-Length and would read a chunked body as empty
        if "Transfer-Encoding" in request.headers:
            raise Problem("malformed", "Send the body with its Content-Length; a chunked body is not read.")
        self._wrap_write(request)

    @property
    def actor(self) -> Actor:
        """Return the caller."""
        actor = self.request.auth
        if not isinstance(actor, Actor):
            raise Problem("unauthenticated")
        return actor

    @property
    def business(self) -> Business:
        """Return the caller's business. A supplier's key has none; use ``self.actor.supplier_account``."""
        business = self.actor.business
        if business is None:
            raise Problem("forbidden", "This address is for members and keys of a business.")
        return business

    def validated_data(self, kind: type[BaseSerializer[Any]], *, partial: bool = False) -> dict[str, Any]:
        """Return the values of the body, or raise a 422 that names every error."""
        return validated_data(kind, self.request.data, partial=partial)

    def find(self, rows: models.QuerySet[RowT], ref: str) -> RowT:
        """Return a record by its ref, or raise 404."""
        return etags.find(rows, ref)

    def get_for_update(self, rows: models.QuerySet[RowT], ref: str) -> RowT:
        """Return a record, locked, after checking If-Match. Raise 404, 428 or 412."""
        return etags.get_for_update(rows, ref, self.request)

    def page(
        self,
        rows: Rows,
        serializer: pagination.ItemSerializer,
        *,
        by: str = "-id",
        all_of: Business | None = None,
        shared: SharedQuery | None = None,
    ) -> Response:
        """Return one page of a list; see ``pagination.page``.

        Set ``all_of`` if the rows are all those of a business, or ``shared`` if the SQL differs only in its parameters.
        Both are ignored if the request filters by one of the endpoint's ``parameters``.
        """
        if all_of is not None:
            shared = SharedQuery("all", (all_of.pk,))
        if self.request.query_params.keys() & self.parameters.keys():
            shared = None
        return pagination.page(self.request, rows, serializer, holder=self._holder(), by=by, shared=shared)

    def one(self, data: Mapping[str, Any], row: etags.Versioned, *, status: int = 200, at: str = "") -> Response:
        """Return a resource with its ETag; ``at`` is its address if it was just created."""
        response = Response(data, status=status)
        response["ETag"] = etags.etag(row)
        if at:
            response["Location"] = at
        return response

    def created(self, data: Mapping[str, Any], row: etags.Versioned) -> Response:
        """Return 201 for a new resource below this list's address."""
        return self.one(data, row, status=201, at=f"{self.request.path.rstrip('/')}/{row.ref}")

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Add the headers for rate limits, caching and deprecation."""
        final = super().finalize_response(request, response, *args, **kwargs)
        if self.standing is not None:
            for name, value in self.standing.headers().items():
                final[name] = value
        final.setdefault("Cache-Control", "private, no-cache")
        if deprecation := self.deprecated.get(str(request.method)):
            for name, value in deprecation.headers().items():
                final[name] = value
            # logged with its key, so that the owner can be notified before the address ends
            use = {"method": str(request.method), "path": masked(request.path), "holder": self._holder()}
            _log.info("deprecated", extra=use)
        return final

    def permission_denied(self, request: Request, message: str | None = None, code: str | None = None) -> Any:
        """Raise the problem document for a missing permission."""
        raise Problem("forbidden")

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:
        """Accept a header that names only the type of problem documents: such a client reads JSON."""
        if MEDIA_TYPE in request.headers.get("Accept", ""):
            return super().perform_content_negotiation(request, force=True)
        return super().perform_content_negotiation(request, force=force)

    def _holder(self) -> str:
        actor = self.request.auth
        if not isinstance(actor, Actor):
            return f"ip:{rate_limit.client_ip(self.request._request)}"
        whose = actor.business.ref if actor.business else ""
        return f"{actor.kind}:{actor.ref}:{whose}"

    def _run_once(self, handler: Callable[..., Response], *args: Any, **kwargs: Any) -> Response:
        call = partial(handler, *args, **kwargs)
        return idempotency.run_once(call, holder=self._holder(), request=self.request._request)

    def _count(self, caller: str) -> None:
        self.standing = rate_limit.count(caller)
        rate_limit.refuse_flood(self.standing)

    def _check_scope(self, request: Request) -> None:
        method = "GET" if request.method == "HEAD" else str(request.method)
        if self.public or method == "OPTIONS":
            return
        actor = self.actor
        if not hasattr(self, method.lower()):
            return  # final 405 next
        needed = self.scopes.get(method)
        if needed is None or not actor.may(needed):
            raise Problem("forbidden", f"This needs the scope {needed}.", members={"scope": str(needed)})
        if actor.business and actor.business.suspended and method not in _SAFE and not self.computes_only:
            raise Problem("suspended")

    def flag(self, name: str) -> bool | None:
        """Return a query parameter that is true or false; None if it is left out. Raise a problem for other values."""
        text = self.request.query_params.get(name)
        if text is None:
            return None
        if text not in ("true", "false"):
            raise Problem(
                "invalid-parameter", errors=[{"parameter": name, "code": "flag", "detail": "Enter true or false."}]
            )
        return text == "true"

    def _check_parameters(self, request: Request) -> None:
        known = {*self.parameters, *(_PAGING if self.paged else ())}
        faults = [
            {
                "parameter": name[:80],
                "code": "unknown",
                "detail": f"Known parameters: {', '.join(sorted(known)) or 'none'}.",
            }
            for name in request.query_params
            if name not in known
        ]
        faults += [
            {"parameter": name[:80], "code": "nul", "detail": "A parameter cannot contain the character NUL."}
            for name, value in request.query_params.items()
            if "\x00" in value
        ]
        if faults:
            raise Problem("invalid-parameter", errors=faults)

    def _wrap_write(self, request: Request) -> None:
        method = str(request.method)
        handler = getattr(self, method.lower(), None)
        if handler is None:
            return
        if method in _SAFE or self.computes_only:
            setattr(self, method.lower(), retry_deadlock(handler))  # some reads store a result
            return
        # the wrapped handler is set on this one instance, which serves this one request
        if method in self.idempotent:
            setattr(self, method.lower(), partial(self._run_once, handler))
        else:
            setattr(self, method.lower(), retry_deadlock(transaction.atomic(handler)))
