"""Page addresses of this app."""

from __future__ import annotations

from django.urls import path

from quotes.desk import pages

urlpatterns = [
    path("", pages.today, name="today"),
    path("search", pages.search, name="search"),
    path("jobs", pages.jobs, name="jobs"),
    path("jobs/new", pages.new_job, name="new-job"),
    path("jobs/<str:ref>", pages.job, name="job"),
    path("jobs/<str:ref>/note", pages.job_note, name="job-note"),
    path("jobs/<str:ref>/move", pages.job_move, name="job-move"),
]
