"""Celery application under the name that ``celery --app=shared`` looks for."""

from __future__ import annotations

from shared.background.celery_app import app

__all__ = ["app"]
