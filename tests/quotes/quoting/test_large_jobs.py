"""Jobs as large as they come are quoted too."""

from __future__ import annotations

import pytest
from django.utils import timezone

from quotes.quoting.content_document import assemble
from quotes.quoting.totals import sums
from shared.business.models import Business
from tests.quotes.quoting.cast import PARTIES, drafted, measure, stock_up

pytestmark = pytest.mark.django_db


def test_sixty_scattered_runs_are_quoted_although_no_page_holds_their_plan(business: Business) -> None:
    stock_up(business)
    document = measure(1000)
    document["runs"] = [
        {"id": f"R{place}", "length_mm": 4000 + 431 * place, "basis": "centres", "form": "stepped",
         "layout": ("even", "from_start", "full_rails")[place % 3], "levels": [[0, 0], [4000, -3 * place]]}
        for place in range(60)
    ]  # fmt: skip
    content = assemble(drafted(business, {"parties": PARTIES[:1]}, document), now=timezone.now())
    build = content.builds[0]
    assert len([line for line in build.lines if line.group == "fence"]) == 60
    assert build.drawings.elevation
    assert sums(content).total > 0


def test_a_job_of_one_short_bay_is_quoted_at_no_less_than_the_least_charge(business: Business) -> None:
    stock_up(business)
    content = assemble(drafted(business, {"parties": PARTIES[:1]}, measure(600)), now=timezone.now())
    assert sums(content).net == 680  # the starter's least job charge
