"""Input and output of commands, and files that are written completely or not at all."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from io import StringIO, TextIOWrapper
from pathlib import Path
from typing import TextIO

from fencing.model.faults import Fault, InvalidDocument

OUTPUT_FAILED = 1
"""Exit code if the result cannot be written."""


def settle_streams() -> None:
    """Set the standard streams to UTF-8, and replace closed ones by the null device."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # `<&-`, `>&-`
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115 - stays open until the process ends
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(encoding="utf-8")


def read_source(name: str, limit: int) -> bytes:
    """Read a file, or standard input for "-". Return at most ``limit`` + 1 bytes.

    Raises:
        InvalidDocument: if the file cannot be read.
    """
    try:
        if name == "-":
            return sys.stdin.buffer.read(limit + 1)
        with Path(name).open("rb") as file:
            return file.read(limit + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "this is not a valid file name"
        raise InvalidDocument([Fault("", "file.unreadable", f"{name!r} cannot be read: {reason}")]) from None


def run_command(run: Callable[[TextIO, TextIO], int]) -> int:
    """Run a command, write its result to standard output at once, and return the exit code."""
    closed = sys.stdout is None
    settle_streams()
    output = StringIO()
    code = run(output, sys.stderr)
    output_code = _report_output_error("it is closed") if closed and output.getvalue() else write_out(output.getvalue())
    return code or output_code


def write_out(text: str) -> int:
    """Write a text to standard output. Return 0, or 1 if it cannot be written."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:  # `... | head`
        discard_output()
    except OSError as error:  # a full disk
        discard_output()
        return _report_output_error(error.strerror or "")
    return 0


def _report_output_error(reason: str) -> int:
    sys.stderr.write(f"/: standard output cannot be written: {reason} [output.unwritable]\n")
    return OUTPUT_FAILED


def discard_output() -> None:
    """Discard the buffered output, so that it is not written when the process ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def save(path: Path, content: bytes) -> Path:
    """Write ``content`` to a temporary file, flush it to disk, then rename it. The file is never incomplete."""
    path.parent.mkdir(parents=True, exist_ok=True)
    half = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with half.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        half.replace(path)
    except BaseException:
        half.unlink(missing_ok=True)
        raise
    return path
