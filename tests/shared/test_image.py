"""The image and the compose file: linted, parsed, and the same steps as the set-up."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml

from shared.common import environment

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


def _client_major() -> int:
    found = re.findall(r"postgresql-client(?:-(\d+))?", DOCKERFILE)
    assert len(found) == 1, found
    assert found[0], "the image must name the major version of its client"
    return int(found[0])


def test_the_image_reads_and_writes_backups_of_the_database_that_compose_runs(compose: dict[str, Any]) -> None:
    server = re.fullmatch(r"postgres:(\d+)-(\w+)", compose["services"]["postgres"]["image"])
    assert server is not None
    base = re.findall(r"^FROM python:[\d.]+-slim-(\w+)", DOCKERFILE, re.MULTILINE)
    assert (int(server[1]), {server[2]}) == (_client_major(), set(base))


@pytest.mark.postgres
@pytest.mark.django_db
def test_backup_and_restore_are_tried_with_the_major_that_is_shipped() -> None:
    """The round trip in ``test_backup.py`` is valid for the image only with the same major version."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        server = int(cursor.fetchone()[0]) // 10_000
    client = subprocess.run(["pg_dump", "--version"], capture_output=True, text=True, check=True).stdout
    data = re.search(r"\d+", client)
    assert data is not None
    if {server, int(data[0])} != {_client_major()}:  # in CI a skipped test fails the run
        pytest.skip(f"not run: needs server and client of PostgreSQL {_client_major()}")


def test_the_container_that_writes_nothing_has_a_place_for_backups(compose: dict[str, Any]) -> None:
    for name in ("migrate", "web", "worker", "beat"):
        service = compose["services"][name]
        assert service["read_only"], name
        assert "backups:/backups" in service["volumes"], name
    owner = re.search(r"install --directory --owner=(\d+) --mode=0700 /backups", DOCKERFILE)
    user = re.search(r"^USER (\d+)$", DOCKERFILE, re.MULTILINE)
    assert owner is not None
    assert user is not None
    # a new volume takes the owner of the folder it covers
    assert owner[1] == user[1]
    assert DOCKERFILE.index(owner[0]) < DOCKERFILE.index("VOLUME /backups") < DOCKERFILE.index(user[0])


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
    data = compose["services"]["web"]["environment"]
    assert set(data) <= known
    assert data["BAYWRIGHT_SECRET_KEY"].startswith("${BAYWRIGHT_SECRET_KEY:?")
    assert "${POSTGRES_PASSWORD:?" in data["DATABASE_URL"]


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
