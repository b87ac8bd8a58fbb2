"""What every app stands on."""

from shared.celery import app as celery_app

__all__ = ["celery_app"]
