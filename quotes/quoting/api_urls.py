"""API addresses of this app, under /api/v1/."""

from __future__ import annotations

from django.urls import path

from quotes.quoting import api, customer_api

urlpatterns = [
    path("quotes", api.Quotes.as_view()),
    path("quotes/<str:ref>", api.QuoteDetail.as_view()),
    path("quotes/<str:ref>/revisions", api.QuoteRevisions.as_view()),
    path("revisions", api.Revisions.as_view()),
    path("revisions/<str:ref>", api.RevisionDetail.as_view()),
    path("revisions/<str:ref>/content", api.RevisionContent.as_view()),
    path("revisions/<str:ref>/send", api.RevisionSending.as_view()),
    path("revisions/<str:ref>/parties", api.Parties.as_view()),
    path("revisions/<str:ref>/parties/<str:key>/link", api.PartyLink.as_view()),
    path("revisions/<str:ref>/parties/<str:key>/document", api.PartyDocument.as_view()),
    path("questions", api.Questions.as_view()),
    path("questions/<str:ref>/reply", api.QuestionReply.as_view()),
    path("jobs/<str:ref>/set-out", api.JobSetOut.as_view()),
    path("jobs/<str:ref>/material-comparison", api.JobComparison.as_view()),
    path("quote-links/<str:token>", customer_api.LinkDetail.as_view()),
    path("quote-links/<str:token>/accept", customer_api.LinkAcceptance.as_view()),
    path("quote-links/<str:token>/decline", customer_api.LinkRefusal.as_view()),
    path("quote-links/<str:token>/questions", customer_api.LinkQuestions.as_view()),
]
