"""Atomic writes: a file is written completely or not at all."""

from __future__ import annotations

import os
from pathlib import Path


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
