"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from catalogue.api.cutting_plans import CuttingPlanCancel, CuttingPlanDetail, CuttingPlans
from catalogue.api.imports import ExportFile, ImportDetail, Imports
from catalogue.api.supplier_prices import SupplierOwnPriceDetail, SupplierOwnPrices
from catalogue.api.views import Completeness, FenceSystemDetail, FenceSystems, endpoints

urlpatterns = [
    *(path(address, endpoint.as_view()) for address, endpoint in endpoints()),
    path("fence-systems", FenceSystems.as_view()),
    path("fence-systems/completeness", Completeness.as_view()),
    path("fence-systems/<str:ref>", FenceSystemDetail.as_view()),
    path("cutting-plans", CuttingPlans.as_view()),
    path("cutting-plans/<str:ref>", CuttingPlanDetail.as_view()),
    path("cutting-plans/<str:ref>/cancel", CuttingPlanCancel.as_view()),
    path("imports", Imports.as_view()),
    path("imports/<str:ref>", ImportDetail.as_view()),
    path("exports/<str:kind>.<str:format>", ExportFile.as_view()),
    path("supply/prices", SupplierOwnPrices.as_view()),
    path("supply/prices/<str:ref>", SupplierOwnPriceDetail.as_view()),
]
