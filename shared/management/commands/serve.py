"""Command ``serve``: runs pages and API on this machine with the demo data."""

from __future__ import annotations

import threading
from typing import Any

from django.conf import settings
from django.core.management import call_command, get_commands, load_command_class
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.business.roles import MemberRole, granted
from shared.members.services import demo_sign_in, issue_key
from shared.web.server_errors import ProblemServer

_PASSWORD = "fences for everybody"  # noqa: S105 - public; only for demonstrations  # words: ok


class Command(BaseCommand):
    help = "Migrate, load the demo if there is no business, and serve on localhost."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, **options: Any) -> None:
        if not (settings.DEMO or settings.DEBUG):
            raise CommandError(
                "serve is only for demonstrations: set BAYWRIGHT_DEMO=1. "
                "Otherwise run gunicorn -c docker/gunicorn.conf.py shared.wsgi."
            )
        settings.PUBLIC_URL = f"http://localhost:{options['port']}"  # used in the links of e-mails
        call_command("migrate", verbosity=0)
        if not Business.objects.exists() and "demo" in get_commands():
            call_command("demo")
        business = Business.objects.order_by("id").first()
        if business is None:
            self.stdout.write("There is no business yet: run manage.py start_business.")
        else:
            person = demo_sign_in(business=business, password=_PASSWORD)
            known = (
                f"as {person.email} with the password: {_PASSWORD}" if person else "with your own e-mail and password."
            )
            self.stdout.write(f"Sign in {known}")
            _, key = issue_key(name="serve", scopes=granted(MemberRole.OWNER), business=business, actor=SYSTEM)
            self.stdout.write(f"API key of this run: {key}")
        self.stdout.write(
            f"Pages: http://localhost:{options['port']}/   API: http://localhost:{options['port']}/api/docs/"
        )
        if not settings.REDIS_URL:
            threading.Thread(target=call_command, args=("run_background",), daemon=True).start()
        server: Any = load_command_class(get_commands()["runserver"], "runserver")
        server.server_cls = ProblemServer
        call_command(server, f"127.0.0.1:{options['port']}", use_reloader=False)
