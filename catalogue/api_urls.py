"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from catalogue.api import Completeness, FenceSystemDetail, FenceSystems, endpoints
from catalogue.cutplan_api import CutPlanCancel, CutPlanDetail, CutPlans
from catalogue.sheet_api import ImportDetail, Imports, SheetFile
from catalogue.supply_api import SupplyOfferDetail, SupplyOffers

urlpatterns = [
    *(path(address, endpoint.as_view()) for address, endpoint in endpoints()),
    path("fence-systems", FenceSystems.as_view()),
    path("fence-systems/<str:ref>", FenceSystemDetail.as_view()),
    path("completeness", Completeness.as_view()),
    path("cutplans", CutPlans.as_view()),
    path("cutplans/<str:ref>", CutPlanDetail.as_view()),
    path("cutplans/<str:ref>/cancel", CutPlanCancel.as_view()),
    path("imports", Imports.as_view()),
    path("imports/<str:ref>", ImportDetail.as_view()),
    path("sheets/<str:kind>.<str:form>", SheetFile.as_view()),
    path("supply/offers", SupplyOffers.as_view()),
    path("supply/offers/<str:ref>", SupplyOfferDetail.as_view()),
]
