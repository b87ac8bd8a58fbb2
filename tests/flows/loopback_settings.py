"""The service's settings with the one thing that only a test may say: webhooks may go to loopback."""

from __future__ import annotations

from shared.settings import *  # noqa: F403 - every setting as it is

WEBHOOKS_TO_LOOPBACK = True
