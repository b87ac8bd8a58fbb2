"""WSGI application for Gunicorn."""

from __future__ import annotations

import gc
import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

from shared.common.environment import BadSettingError
from shared.web.complete_body import whole

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
if not settings.MAY_SERVE:
    raise BadSettingError(
        "Set BAYWRIGHT_SECRET_KEY (at least 50 random characters), or BAYWRIGHT_DEMO=1 to try things out."
    )
application = whole(get_wsgi_application())
gc.freeze()  # loaded modules stay in memory, so the garbage collector can ignore them
