"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from catalogue.api.cutting_plans import CutPlanCancel, CutPlanDetail, CutPlans
from catalogue.api.imports import ImportDetail, Imports, SheetFile
from catalogue.api.supplier_prices import SupplyOfferDetail, SupplyOffers
from catalogue.api.views import Completeness, FenceSystemDetail, FenceSystems, endpoints

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
