"""Page addresses of this app: books."""

from __future__ import annotations

from django.urls import path

from quotes.books import account_pages, pages

urlpatterns = [
    path("books", pages.books, name="books"),
    path("settings/accounts", account_pages.accounts, name="accounts"),
]
