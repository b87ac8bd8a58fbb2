#!/usr/bin/env python
"""Run a management command."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
    if sys.argv[1:2] == ["takeoff"]:
        from quotes.jobs.takeoff_command import quick

        code = quick(sys.argv[2:])
        if code is not None:
            sys.exit(code)
    if sys.argv[1:2] == ["cutplan"]:
        from catalogue.engine.cutplan_command import quick as cutplan

        code = cutplan(sys.argv[2:])
        if code is not None:
            sys.exit(code)
    from django.core.management import execute_from_command_line

    from shared.common.command_io import settle_streams

    settle_streams()
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:  # no traceback; shells give 130 for Ctrl-C
        sys.exit(130)
