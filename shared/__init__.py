"""Base package of every app: API, pages, background tasks, accounts and database services."""
