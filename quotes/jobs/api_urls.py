"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.jobs import api, measure_api, schema_api

urlpatterns = [
    path("customers", api.Customers.as_view()),
    path("customers/<str:ref>", api.CustomerDetail.as_view()),
    path("customers/<str:ref>/sites", api.Sites.as_view()),
    path("customers/<str:ref>/sites/<str:site>", api.SiteDetail.as_view()),
    path("jobs", api.Jobs.as_view()),
    path("jobs/<str:ref>", api.JobDetail.as_view()),
    path("jobs/<str:ref>/status", api.JobStatusView.as_view()),
    path("jobs/<str:ref>/copy", api.JobCopyView.as_view()),
    path("jobs/<str:ref>/events", api.JobEvents.as_view()),
    path("jobs/<str:ref>/measures", measure_api.Measures.as_view()),
    path("jobs/<str:ref>/as-built", api.AsBuiltEntries.as_view()),
    path("jobs/<str:ref>/as-built/<str:entry>", api.AsBuiltEntry.as_view()),
    path("measures/<str:ref>", measure_api.MeasureDetail.as_view()),
    path("measures/<str:ref>/draft", measure_api.MeasureDraft.as_view()),
    path("measures/<str:ref>/draft/publish", measure_api.MeasureDraftPublish.as_view()),
    path("measures/<str:ref>/versions", measure_api.MeasureVersions.as_view()),
    path("measures/<str:ref>/versions/<int:number>", measure_api.MeasureVersionDetail.as_view()),
    path("measures/<str:ref>/take-off", measure_api.MeasureTakeOffView.as_view()),
    path("take-offs", measure_api.TakeOffs.as_view()),
    path("schemas", schema_api.Schemas.as_view()),
    path("schemas/<str:name>", schema_api.Schema.as_view()),
]
