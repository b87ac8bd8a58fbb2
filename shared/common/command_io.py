"""How a command that needs the engine alone reads its document and answers."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from io import StringIO, TextIOWrapper
from pathlib import Path
from typing import TextIO

from fencing.model.faults import Fault, InvalidDocument

UNWRITTEN = 1
"""Exit code where the work is done and nobody can read it."""


def settle_streams() -> None:
    """Streams every command can use: UTF-8 whatever the terminal's locale, and nothing in place of one that is closed."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # `<&-`, `>&-`
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115 - as long as the process
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(encoding="utf-8")


def read_source(name: str, most: int) -> bytes:
    """A document by its file's name, or from standard input for "-"; one byte more than ``most`` where it is longer.

    Raises:
        Refused: it can't be read, and why.
    """
    try:
        if name == "-":
            return sys.stdin.buffer.read(most + 1)
        with Path(name).open("rb") as file:
            return file.read(most + 1)
    except (OSError, ValueError) as broken:
        reason = getattr(broken, "strerror", None) or "no file can have this name"
        raise InvalidDocument([Fault("", "file.unreadable", f"{name!r} can't be read: {reason}")]) from None


def answer(run: Callable[[TextIO, TextIO], int]) -> int:
    """The exit code of ``run``, whose answer goes to standard output in one piece; a reader may have seen enough."""
    closed = sys.stdout is None
    settle_streams()
    said = StringIO()
    code = run(said, sys.stderr)
    written = _unwritten("it is closed") if closed and said.getvalue() else write_out(said.getvalue())
    return code or written


def write_out(text: str) -> int:
    """Bring an answer to standard output: 0, or 1 where it can't be written."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:  # `... | head`
        let_go()
    except OSError as broken:  # a full disk
        let_go()
        return _unwritten(broken.strerror or "")
    return 0


def _unwritten(reason: str) -> int:
    sys.stderr.write(f"/: standard output can't be written to: {reason} [output.unwritable]\n")
    return UNWRITTEN


def let_go() -> None:
    """What is still held back must not be tried again when the process ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
