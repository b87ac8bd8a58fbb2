from __future__ import annotations

from importlib import import_module

from django.apps import AppConfig

from shared.common.lazy_import import at_first_call


class PurchasingConfig(AppConfig):
    name = "quotes.purchasing"
    label = "purchasing"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        import_module("quotes.purchasing.receivers")
        from quotes.jobs.models import JobState
        from quotes.jobs.ordered_hooks import tells_ordered
        from quotes.jobs.state_hooks import follows

        tells_ordered(at_first_call("quotes.purchasing.queries.ordered"))
        follows(JobState.CANCELLED, at_first_call("quotes.purchasing.stock_services.release_reservations"))
