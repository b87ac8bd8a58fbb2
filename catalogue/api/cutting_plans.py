"""Cutting plans: calculated at once within two seconds, or in the background with a status and a cancel action."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue.engine import cutting_plans
from catalogue.models import AskedPlan
from catalogue.rules.codes import PlanState
from fencing.cutting import plan_cuts, read_demand_document
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import RowSerializer, same_names
from shared.business.roles import Scope
from shared.common.problems import Problem

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
                    "quantity_available": {
                        "type": ["integer", "null"],
                        "description": "Quantity in stock. Null or left out: no limit.",
                    },
                    "trim_mm": {"type": "integer", "description": "Lost off the ends of every bar."},
                    "handling": _MONEY,
                    "min_offcut_mm": {**_MM, "description": "Minimum length of an offcut worth keeping."},
                    "offcut_credit": {**_MONEY, "description": "Credit for a bar whose offcut is kept."},
                    "label": {"type": "string", "maxLength": 80},
                },
            },
        },
    },
    "example": {
        "kerf_mm": 3,
        "pieces": [[2238, 8]],
        "stock": [{"length_mm": 6000, "price": "31.20", "quantity_available": None}],
    },
}
PLAN_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["schema", "result"],
    "properties": {
        "schema": {"const": "cutplan-2"},
        "result": {"type": "string", "enum": ["optimal", "gap", "infeasible"]},
        "cost": _MONEY,
        "lower_bound": {**_MONEY, "description": "No plan costs less than this: proved."},
        "gap_ppm": {"type": "integer", "description": "How much dearer than the bound, in parts per million."},
        "proof": {
            "type": "string",
            "enum": ["solver"],
            "description": "Given where the bound rests in part on a solver's word; else it is checked without one.",
        },
        "stopped_early": {"type": "boolean", "description": "Stopped by the time limit or by a user."},
        "unplaced_pieces": {**_PAIRS, "description": "Pieces that fit no stock."},
        "summary": {"type": "string"},
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
                    "offcut_credit": _MONEY,
                    "label": {"type": "string"},
                },
            },
        },
    },
}
_TIME = {"type": ["string", "null"], "format": "date-time"}
ASKED_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["ref", "status", "seconds", "plan"],
    "properties": {
        "ref": {"type": "string"},
        "status": {"type": "string", "enum": list(PlanState)},
        "seconds": {"type": "integer"},
        "requested_by": {"type": "string"},
        "created_at": _TIME,
        "started_at": _TIME,
        "finished_at": _TIME,
        "plan": {"oneOf": [PLAN_SCHEMA, {"type": "null"}], "description": "The best one found so far."},
    },
}
LISTED = ("ref", "status", "seconds", "requested_by", "created_at", "started_at", "finished_at")
LISTED_SCHEMA = {**ASKED_SCHEMA, "required": list(LISTED)}
LISTED_SCHEMA["properties"] = {name: ASKED_SCHEMA["properties"][name] for name in LISTED}
_PLANS = RowSerializer({**same_names(*LISTED), "status": "state"})


class CuttingPlans(Endpoint):
    """A cutting plan of any demand: at once, or later where it takes long."""

    scopes = {"GET": Scope.ORDERS_READ, "POST": Scope.MEASURES_READ}
    computes_only = True  # but for what is asked in the background, which opens its own transaction
    paged = True
    parameters = {
        "background": "true: answer 202 at once and search for longer; needs orders:write.",
        "seconds": f"With background: how long to search at most, 1 to {cutting_plans.MAX_SECONDS}; where the service has no "
        f"broker, it searches before it answers, and {cutting_plans.IN_REQUEST_S} at most.",
    }

    @extend_schema(responses={200: page_of(LISTED_SCHEMA)}, summary="List cutting plans requested in the background")
    def get(self, request: Request) -> Response:
        return self.page(lambda: AskedPlan.objects.of(self.business), _PLANS, all_of=self.business)

    @extend_schema(
        request={"application/json": DEMAND_SCHEMA},
        responses={
            200: OpenApiResponse(PLAN_SCHEMA, "The plan, with how close to the cheapest it is proved to be."),
            202: OpenApiResponse(ASKED_SCHEMA, "The search has started. Read its status at its address."),
        },
        summary="Calculate a cutting plan",
    )
    def post(self, request: Request) -> Response:
        seconds = self._seconds()
        if seconds is None:
            return Response(plan_cuts(read_demand_document(request.data), cutting_plans.INTERACTIVE).document())
        if not self.actor.may(Scope.ORDERS_WRITE):
            raise Problem("forbidden", f"This needs the scope {Scope.ORDERS_WRITE}.")
        if self.business.suspended:
            raise Problem("suspended")
        row = cutting_plans.ask(business=self.business, actor=self.actor, document=request.data, seconds=seconds)
        return self.one(cutting_plans.serialize_plan(row), row, status=202, at=f"{request.path}/{row.ref}")

    def _seconds(self) -> int | None:
        """Return the seconds to search in the background; None if the caller waits."""
        asked = self.request.query_params
        background = self.flag("background")
        text = asked.get("seconds", str(cutting_plans.MAX_SECONDS))
        if not (text.isascii() and text.isdigit() and len(text) < 4 and 1 <= int(text) <= cutting_plans.MAX_SECONDS):
            raise _unknown("seconds", f"Enter a whole number from 1 to {cutting_plans.MAX_SECONDS}.")
        return int(text) if background else None


def _unknown(parameter: str, detail: str) -> Problem:
    return Problem("invalid-parameter", errors=[{"parameter": parameter, "code": "value", "detail": detail}])


class CuttingPlanDetail(Endpoint):
    """Status of a plan, with the best result so far."""

    scopes = {"GET": Scope.ORDERS_READ}

    @extend_schema(responses={200: ASKED_SCHEMA}, summary="Get a cutting plan")
    def get(self, request: Request, ref: str) -> Response:
        row = self.find(AskedPlan.objects.of(self.business), ref)
        return self.one(cutting_plans.serialize_plan(row), row)


class CuttingPlanCancel(Endpoint):
    """Cancelling of a search. The best result is kept."""

    scopes = {"POST": Scope.ORDERS_WRITE}

    @extend_schema(
        request=None, responses={200: ASKED_SCHEMA}, summary="Cancel a cutting plan and keep the best result"
    )
    def post(self, request: Request, ref: str) -> Response:
        row = cutting_plans.cancel(self.find(AskedPlan.objects.of(self.business), ref), actor=self.actor)
        return self.one(cutting_plans.serialize_plan(row), row)
