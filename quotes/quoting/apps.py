from __future__ import annotations

from importlib import import_module

from django.apps import AppConfig

from shared.common.lazy_import import at_first_call


class QuotingConfig(AppConfig):
    name = "quotes.quoting"
    label = "quoting"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tells the catalogue who knows what a change of prices means, and the jobs who prices what would help a fence."""
        import_module("quotes.quoting.price_change_impact")
        from quotes.jobs.change_price_hooks import prices_remedies
        from quotes.jobs.models import JobState
        from quotes.jobs.state_hooks import follows

        prices_remedies(at_first_call("quotes.quoting.build_pricing.remedies_today"))
        follows(JobState.CANCELLED, at_first_call("quotes.quoting.agreement.cancel_quotes"))
