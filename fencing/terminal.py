"""How a command that needs the engine alone answers."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from io import TextIOWrapper
from typing import TextIO


def speak_utf8() -> None:
    """Whatever the terminal's locale, so that a name or a sign it lacks never ends a command."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(encoding="utf-8")


def answer(run: Callable[[TextIO, TextIO], int]) -> int:
    """The exit code of ``run``, which writes to the two streams it is given, in UTF-8; 0 where the reader has seen enough."""
    speak_utf8()
    try:
        code = run(sys.stdout, sys.stderr)
        sys.stdout.flush()
    except BrokenPipeError:  # `... | head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code
