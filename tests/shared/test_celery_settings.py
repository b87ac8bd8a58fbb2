"""What a worker refuses before it starts."""

from __future__ import annotations

import os
import subprocess
import sys


def test_a_worker_does_not_start_with_a_passing_key() -> None:
    environment = {key: value for key, value in os.environ.items() if not key.startswith("BAYWRIGHT_")}
    environment["REDIS_URL"] = "redis://127.0.0.1:9/0"
    command = [sys.executable, "-m", "celery", "-A", "shared.celery", "worker", "-c", "1"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode != 0
    assert "Set BAYWRIGHT_SECRET_KEY" in done.stdout + done.stderr
