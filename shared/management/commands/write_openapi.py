"""Command ``write_openapi FILE``: writes the copy of the OpenAPI document in docs/."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from shared.api.docs_views import document
from shared.api.openapi import document_text


class Command(BaseCommand):
    help = "Write the OpenAPI document to a file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        options["file"].write_text(document_text(document()))
