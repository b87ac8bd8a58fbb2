"""Page addresses of this app: quote pages for the estimator."""

from __future__ import annotations

from django.urls import path

from quotes.quoting import views

urlpatterns = [
    path("quotes", views.quote_list, name="quotes"),
    path("jobs/<str:ref>/price", views.job_price, name="job-price"),
    path("revisions/<str:ref>", views.revision, name="revision"),
    path("revisions/<str:ref>/parties/<str:key>/link", views.party_link, name="party-link"),
    path("revisions/<str:ref>/send-again", views.letter_again, name="letter-again"),
    path("quotes/<str:ref>/revise", views.revise, name="revise-quote"),
    path("questions/<str:ref>/reply", views.answer_question, name="answer-question"),
]
