"""Page addresses of this app."""

from __future__ import annotations

from django.urls import path

from quotes.desk import measure_pages, pages, strength_pages, takeoff_pages, used_pages, version_pages

urlpatterns = [
    path("", pages.today, name="today"),
    path("search", pages.search, name="search"),
    path("jobs", pages.jobs, name="jobs"),
    path("jobs/new", pages.new_job, name="new-job"),
    path("jobs/<str:ref>", pages.job, name="job"),
    path("jobs/<str:ref>/details", pages.job_details, name="job-details"),
    path("jobs/<str:ref>/copy", pages.job_copy, name="job-copy"),
    path("jobs/<str:ref>/note", pages.job_note, name="job-note"),
    path("jobs/<str:ref>/move", pages.job_move, name="job-move"),
    path("jobs/<str:ref>/customer/archive", pages.archive_customer, name="archive-customer"),
    path("jobs/<str:ref>/used", used_pages.used, name="job-used"),
    path("jobs/<str:ref>/measure", measure_pages.of_job, name="job-measure"),
    path("jobs/<str:ref>/take-off", takeoff_pages.of_job, name="job-takeoff"),
    path("measures/<str:ref>", measure_pages.measure, name="measure"),
    path("measures/<str:ref>/ways/<int:place>", measure_pages.ways, name="measure-ways"),
    path("measures/<str:ref>/more/<int:place>", measure_pages.more, name="measure-more"),
    path("measures/<str:ref>/versions", version_pages.versions, name="measure-versions"),
    path("measures/<str:ref>/versions/<int:number>", version_pages.version, name="measure-version"),
    path("measures/<str:ref>/take-off", takeoff_pages.takeoff, name="takeoff"),
    path("measures/<str:ref>/height", strength_pages.height, name="measure-height"),
    path("measures/<str:ref>/screening.pdf", strength_pages.annex, name="screening-annex"),
    path("measure-worker.js", measure_pages.worker, name="measure-worker"),
]
