"""Page addresses of this app: pricing and sending."""

from __future__ import annotations

from django.urls import path

from quotes.offers import pages

urlpatterns = [
    path("quotes", pages.quote_list, name="quotes"),
    path("jobs/<str:ref>/price", pages.job_price, name="job-price"),
    path("revisions/<str:ref>", pages.revision, name="revision"),
    path("revisions/<str:ref>/parties/<str:key>/link", pages.party_link, name="party-link"),
    path("revisions/<str:ref>/send-again", pages.letter_again, name="letter-again"),
    path("quotes/<str:ref>/revise", pages.revise, name="revise-quote"),
    path("questions/<str:ref>/reply", pages.answer_question, name="answer-question"),
]
