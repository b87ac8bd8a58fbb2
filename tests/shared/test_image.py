"""The image and the compose file: linted, parsed, and the same steps as the set-up."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml

from shared import environment

ROOT = Path(__file__).resolve().parents[2]
DOCKERFILE = (ROOT / "docker/Dockerfile").read_text()


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((ROOT / "docker/compose.yaml").read_text())
    return loaded


def test_the_dockerfile_passes_the_linter() -> None:
    linter = shutil.which("hadolint") or str(ROOT / ".venv/bin/hadolint")
    done = subprocess.run([linter, "docker/Dockerfile"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")


def test_the_image_installs_what_the_set_up_installs_and_runs_as_nobody() -> None:
    assert "sh docker/system-packages.sh runtime" in DOCKERFILE
    assert "--require-hashes -r requirements.lock" in DOCKERFILE
    assert re.search(r"^USER [1-9][0-9]*$", DOCKERFILE, re.MULTILINE)


def test_everything_the_image_copies_is_let_through_and_there() -> None:
    let_through = {line[1:] for line in (ROOT / ".dockerignore").read_text().splitlines() if line.startswith("!")}
    copies = [
        line.split()[1:-1] for line in DOCKERFILE.splitlines() if line.startswith("COPY ") and "--from" not in line
    ]
    copied = {path for paths in copies for path in paths}
    assert copied == let_through
    assert all((ROOT / path).exists() for path in copied)


def test_compose_runs_web_worker_and_beat_beside_postgresql_and_redis(compose: dict[str, Any]) -> None:
    services = compose["services"]
    assert set(services) == {"postgres", "redis", "migrate", "web", "worker", "beat"}
    for name, service in services.items():
        assert "image" in service, name
        for needed, condition in service.get("depends_on", {}).items():
            assert needed in services
            assert condition["condition"] in ("service_healthy", "service_completed_successfully")
            if condition["condition"] == "service_healthy":
                assert "test" in services[needed]["healthcheck"]


def test_compose_sets_only_settings_we_know_and_no_secret(compose: dict[str, Any]) -> None:
    known = {setting.name for setting in environment.SETTINGS}
    told = compose["services"]["web"]["environment"]
    assert set(told) <= known
    assert told["BAYWRIGHT_SECRET_KEY"].startswith("${BAYWRIGHT_SECRET_KEY:?")
    assert "${POSTGRES_PASSWORD:?" in told["DATABASE_URL"]


def test_volumes_that_are_used_are_declared(compose: dict[str, Any]) -> None:
    used = {volume.split(":")[0] for service in compose["services"].values() for volume in service.get("volumes", [])}
    assert used == set(compose["volumes"])


@pytest.mark.parametrize("script", ["docker/system-packages.sh", ".ci/run", ".ci/test", ".ci/services"])
def test_the_scripts_are_posix_shell(script: str) -> None:
    assert subprocess.run(["sh", "-n", script], cwd=ROOT, check=False).returncode == 0


@pytest.mark.parametrize("lock", ["requirements.lock", "tests/requirements.lock"])
def test_the_locks_name_no_host_and_hash_everything(lock: str) -> None:
    text = (ROOT / lock).read_text()
    assert "://" not in text
    assert len(re.findall(r"^[a-z0-9].*==", text, re.MULTILINE)) <= text.count("--hash=sha256:")
