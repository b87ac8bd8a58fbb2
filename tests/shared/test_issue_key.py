"""Keys from the command line."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from tests.conftest import Cast


def issued(**options: str) -> str:
    out = StringIO()
    call_command("issue_key", stdout=out, **options)
    return out.getvalue().strip()


def test_a_key_of_a_role_opens_what_the_role_may(cast: Cast, client: Client) -> None:
    key = issued(business=cast.business.name, role="crew")
    allowed = client.get("/api/v1/jobs", headers={"Authorization": f"Bearer {key}"})
    refused = client.get("/api/v1/price-rules", headers={"Authorization": f"Bearer {key}"})
    assert (allowed.status_code, refused.status_code) == (200, 403)


def test_a_business_is_named_where_there_are_several(cast: Cast) -> None:
    with pytest.raises(CommandError, match="Name one business"):
        issued()
