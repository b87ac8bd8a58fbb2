"""Cutting plans through the API: at once within two seconds, or as a job that tells how far it is and can be stopped."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue.engine import cutting_plans
from catalogue.models import AskedPlan
from catalogue.rules.codes import PlanState
from fencing.cutting import demand_of, plan_cuts
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.problems import Problem
from shared.api.row_serializer import RowSerializer, same_names
from shared.business.roles import Scope

_MONEY = {"type": "string", "examples": ["31.20"]}
_MM = {"type": "integer", "minimum": 1, "maximum": 100_000}
_PAIRS = {"type": "array", "items": {"type": "array", "items": {"type": "integer"}, "minItems": 2, "maxItems": 2}}
DEMAND_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["kerf_mm", "pieces", "stock"],
    "additionalProperties": False,
    "properties": {
        "schema": {"const": "cut-demand-2"},
        "kerf_mm": {"type": "integer", "minimum": 0, "maximum": 100},
        "pieces": {**_PAIRS, "description": "Pairs of length in mm and count."},
        "stock": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["length_mm", "price"],
                "additionalProperties": False,
                "properties": {
                    "length_mm": _MM,
                    "price": _MONEY,
                    "have": {
                        "type": ["integer", "null"],
                        "description": "How many there are; null or left out: as many as wanted.",
                    },
                    "trim_mm": {"type": "integer", "description": "Lost off the ends of every bar."},
                    "handling": _MONEY,
                    "min_offcut_mm": {**_MM, "description": "Least length of a remnant worth keeping."},
                    "credit": {**_MONEY, "description": "Earned for a bar whose remnant is kept."},
                    "label": {"type": "string", "maxLength": 80},
                },
            },
        },
    },
    "example": {"kerf_mm": 3, "pieces": [[2238, 8]], "stock": [{"length_mm": 6000, "price": "31.20", "have": None}]},
}
PLAN_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["schema", "status"],
    "properties": {
        "schema": {"const": "cutplan-2"},
        "status": {"type": "string", "enum": ["optimal", "gap", "infeasible"]},
        "cost": _MONEY,
        "bound": {**_MONEY, "description": "No plan costs less than this: proved."},
        "gap_ppm": {"type": "integer", "description": "How much dearer than the bound, in parts per million."},
        "proof": {
            "type": "string",
            "enum": ["solver"],
            "description": "Given where the bound rests in part on a solver's word; else it is checked without one.",
        },
        "stopped_early": {"type": "boolean", "description": "Stopped by the time limit or by a user."},
        "nowhere": {**_PAIRS, "description": "Pieces that fit no stock."},
        "text": {"type": "string"},
        "bars": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["stock_mm", "price", "count", "cuts", "offcut_mm", "keep"],
                "properties": {
                    "stock_mm": _MM,
                    "price": _MONEY,
                    "count": {"type": "integer"},
                    "cuts": _PAIRS,
                    "offcut_mm": {"type": "integer"},
                    "keep": {"type": "boolean"},
                    "handling": _MONEY,
                    "credit": _MONEY,
                    "label": {"type": "string"},
                },
            },
        },
    },
}
_TIME = {"type": ["string", "null"], "format": "date-time"}
ASKED_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["ref", "state", "seconds", "plan"],
    "properties": {
        "ref": {"type": "string"},
        "state": {"type": "string", "enum": list(PlanState)},
        "seconds": {"type": "integer"},
        "requested_by": {"type": "string"},
        "created_at": _TIME,
        "started_at": _TIME,
        "finished_at": _TIME,
        "plan": {"oneOf": [PLAN_SCHEMA, {"type": "null"}], "description": "The best one found so far."},
    },
}
LISTED = ("ref", "state", "seconds", "requested_by", "created_at", "started_at", "finished_at")
LISTED_SCHEMA = {**ASKED_SCHEMA, "required": list(LISTED)}
LISTED_SCHEMA["properties"] = {name: ASKED_SCHEMA["properties"][name] for name in LISTED}
_PLANS = RowSerializer(same_names(*LISTED))


class CutPlans(Endpoint):
    """A cutting plan of any demand: at once, or later where it takes long."""

    scopes = {"GET": Scope.ORDERS_READ, "POST": Scope.MEASURES_READ}
    computes_only = True  # but for what is asked in the background, which opens its own transaction
    paged = True
    parameters = {
        "background": "true: answer 202 at once and search for longer; needs orders:write.",
        "seconds": f"With background: how long to search at most, 1 to {cutting_plans.MAX_SECONDS}; where the service has no "
        f"broker, it searches before it answers, and {cutting_plans.IN_REQUEST_S} at most.",
    }

    @extend_schema(responses={200: page_of(LISTED_SCHEMA)}, summary="Plans that were asked for in the background")
    def get(self, request: Request) -> Response:
        return self.page(lambda: AskedPlan.objects.of(self.business), _PLANS, all_of=self.business)

    @extend_schema(
        request={"application/json": DEMAND_SCHEMA},
        responses={
            200: OpenApiResponse(PLAN_SCHEMA, "The plan, with how close to the cheapest it is proved to be."),
            202: OpenApiResponse(ASKED_SCHEMA, "Being searched; look at its address."),
        },
        summary="Make a cutting plan",
    )
    def post(self, request: Request) -> Response:
        seconds = self._seconds()
        if seconds is None:
            return Response(plan_cuts(demand_of(request.data), cutting_plans.INTERACTIVE).document())
        if not self.actor.may(Scope.ORDERS_WRITE):
            raise Problem("forbidden", f"This needs the scope {Scope.ORDERS_WRITE}.")
        if self.business.suspended:
            raise Problem("suspended")
        row = cutting_plans.ask(business=self.business, actor=self.actor, document=request.data, seconds=seconds)
        return self.one(cutting_plans.serialize_plan(row), row, status=202, at=f"{request.path}/{row.ref}")

    def _seconds(self) -> int | None:
        """Return the seconds to search in the background; None if the caller waits."""
        asked = self.request.query_params
        background = asked.get("background", "false")
        if background not in {"true", "false"}:
            raise _unknown("background", "Say true or false.")
        text = asked.get("seconds", str(cutting_plans.MAX_SECONDS))
        if not (text.isascii() and text.isdigit() and len(text) < 4 and 1 <= int(text) <= cutting_plans.MAX_SECONDS):
            raise _unknown("seconds", f"Say a whole number from 1 to {cutting_plans.MAX_SECONDS}.")
        return int(text) if background == "true" else None


def _unknown(parameter: str, detail: str) -> Problem:
    return Problem("invalid-parameter", errors=[{"parameter": parameter, "code": "value", "detail": detail}])


class CutPlanDetail(Endpoint):
    """Status of a plan, with the best result so far."""

    scopes = {"GET": Scope.ORDERS_READ}

    @extend_schema(responses={200: ASKED_SCHEMA}, summary="A plan that was asked for in the background")
    def get(self, request: Request, ref: str) -> Response:
        row = self.find(AskedPlan.objects.of(self.business), ref)
        return self.one(cutting_plans.serialize_plan(row), row)


class CutPlanCancel(Endpoint):
    """Stops a search and keeps the best plan it found."""

    scopes = {"POST": Scope.ORDERS_WRITE}

    @extend_schema(request=None, responses={200: ASKED_SCHEMA}, summary="Stop a plan, keeping the best found")
    def post(self, request: Request, ref: str) -> Response:
        row = cutting_plans.cancel(self.find(AskedPlan.objects.of(self.business), ref), actor=self.actor)
        return self.one(cutting_plans.serialize_plan(row), row)
