"""Page addresses of this app: books."""

from __future__ import annotations

from django.urls import path

from quotes.books import pages

urlpatterns = [path("books", pages.books, name="books")]
