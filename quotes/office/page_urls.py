"""Page addresses of this app."""

from __future__ import annotations

from django.urls import path

from quotes.office import material_views, measure_views, strength_views, takeoff_views, version_views, views

urlpatterns = [
    path("", views.today, name="today"),
    path("search", views.search, name="search"),
    path("jobs", views.jobs, name="jobs"),
    path("jobs/new", views.new_job, name="new-job"),
    path("jobs/<str:ref>", views.job, name="job"),
    path("jobs/<str:ref>/details", views.job_details, name="job-details"),
    path("jobs/<str:ref>/copy", views.job_copy, name="job-copy"),
    path("jobs/<str:ref>/note", views.job_note, name="job-note"),
    path("jobs/<str:ref>/move", views.job_move, name="job-move"),
    path("jobs/<str:ref>/customer/archive", views.archive_customer, name="archive-customer"),
    path("jobs/<str:ref>/materials", material_views.materials, name="job-materials"),
    path("jobs/<str:ref>/measure", measure_views.of_job, name="job-measure"),
    path("jobs/<str:ref>/take-off", takeoff_views.of_job, name="job-takeoff"),
    path("measures/<str:ref>", measure_views.measure, name="measure"),
    path("measures/<str:ref>/options/<int:place>", measure_views.options, name="measure-options"),
    path("measures/<str:ref>/run-fields/<int:place>", measure_views.run_fields, name="measure-run-fields"),
    path("measures/<str:ref>/versions", version_views.versions, name="measure-versions"),
    path("measures/<str:ref>/versions/<int:number>", version_views.version, name="measure-version"),
    path("measures/<str:ref>/take-off", takeoff_views.takeoff, name="takeoff"),
    path("measures/<str:ref>/height", strength_views.height, name="measure-height"),
    path("measures/<str:ref>/screening.pdf", strength_views.annex, name="screening-annex"),
    path("offline-worker.js", measure_views.offline_worker, name="offline-worker"),
]
