from __future__ import annotations

from django.apps import AppConfig


class OrdersConfig(AppConfig):
    name = "quotes.orders"
    label = "orders"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from quotes.jobs.models import JobState
        from quotes.jobs.moving import follows
        from quotes.jobs.ordered import tells_ordered
        from quotes.orders.queries import ordered
        from quotes.orders.stock import let_go

        tells_ordered(ordered)
        follows(JobState.CANCELLED, let_go)
