"""Settings: documented, and nonsense stops the start."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from shared.common import environment

ROOT = Path(__file__).resolve().parents[3]


def start(code: str = "import shared.wsgi", **env: str) -> subprocess.CompletedProcess[str]:
    clean = {name: value for name, value in os.environ.items() if name not in {s.name for s in environment.SETTINGS}}
    settings = {"DJANGO_SETTINGS_MODULE": "shared.settings", **env}
    return subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env={**clean, **settings}, capture_output=True, text=True, check=False
    )


def test_the_table_in_the_notes_is_the_table_in_the_code() -> None:
    assert environment.table() in (ROOT / "DEVELOPERS.md").read_text()


def test_nothing_reads_the_environment_behind_the_tables_back() -> None:
    reading = [
        str(path.relative_to(ROOT))
        for name in ("shared", "catalogue", "quotes")
        for path in (ROOT / name).rglob("*.py")
        if "os.environ" in path.read_text()
    ]
    # the entry points name the settings module; backup passes the environment on; pdf points fontconfig at our fonts
    known = {"celery_app", "takeoff_command", "backup", "environment", "wsgi", "pdf"}
    assert {Path(path).stem for path in reading} <= known


def test_a_demo_starts_without_any_setting() -> None:
    assert start(BAYWRIGHT_DEMO="1").returncode == 0


GOOD_KEY = "k" * 50


@pytest.mark.parametrize(
    ("env", "named"),
    [
        ({}, "BAYWRIGHT_SECRET_KEY"),
        ({"BAYWRIGHT_SECRET_KEY": "short"}, "BAYWRIGHT_SECRET_KEY"),
        (
            {"BAYWRIGHT_SECRET_KEY": "only-for-a-demo-on-this-machine-never-for-the-open-network"},
            "BAYWRIGHT_SECRET_KEY",
        ),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_URL": "http://fences.test"}, "BAYWRIGHT_URL"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_URL": "nonsense"}, "BAYWRIGHT_URL"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "DATABASE_URL": "mysql://here/there"}, "DATABASE_URL"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_VISIBILITY_S": "60"}, "BAYWRIGHT_VISIBILITY_S"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_JOB_LEASE_S": "30"}, "BAYWRIGHT_JOB_LEASE_S"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "REDIS_URL": "http://here"}, "REDIS_URL"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "EMAIL_URL": "pigeon://here"}, "EMAIL_URL"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_RATE_QUOTA": "0"}, "BAYWRIGHT_RATE_QUOTA"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_SWEEP_S": "often"}, "BAYWRIGHT_SWEEP_S"),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_LOG_LEVEL": "LOUD"}, "BAYWRIGHT_LOG_LEVEL"),
        ({"BAYWRIGHT_DEBUG": "maybe"}, "BAYWRIGHT_DEBUG"),
        (
            {"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_SECRET_KEY_FALLBACKS": f"{GOOD_KEY},short"},
            "BAYWRIGHT_SECRET_KEY_FALLBACKS",
        ),
        ({"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_HSTS_PRELOAD": "1"}, "BAYWRIGHT_HSTS_PRELOAD"),
        (
            {
                "BAYWRIGHT_SECRET_KEY": GOOD_KEY,
                "BAYWRIGHT_HSTS_PRELOAD": "1",
                "BAYWRIGHT_HSTS_SUBDOMAINS": "1",
                "BAYWRIGHT_HSTS_S": "3600",
            },
            "BAYWRIGHT_HSTS_PRELOAD",
        ),
    ],
)
def test_a_setting_that_makes_no_sense_stops_the_start_and_is_named(env: dict[str, str], named: str) -> None:
    stopped = start(**env)
    assert stopped.returncode != 0
    assert f"BadSettingError: {named}" in stopped.stderr or (
        named in stopped.stderr and "BadSettingError" in stopped.stderr
    )


def test_a_service_on_the_open_network_passes_djangos_own_check() -> None:
    env = {
        "BAYWRIGHT_SECRET_KEY": "a1B2c3D4e5" * 6,
        "BAYWRIGHT_URL": "https://fences.test",
        "BAYWRIGHT_HOSTS": "fences.test",
    }
    run = "from django.core.management import execute_from_command_line as run"
    code = f"{run}; run(['manage.py', 'check', '--deploy', '--tag', 'security', '--fail-level', 'WARNING'])"
    checked = start(code, **env)
    assert checked.returncode == 0, checked.stderr


@pytest.mark.parametrize(
    ("env", "expected"),
    [
        ({}, "max-age=31536000"),
        ({"BAYWRIGHT_HSTS_S": "0"}, None),
        ({"BAYWRIGHT_HSTS_S": "300", "BAYWRIGHT_HSTS_SUBDOMAINS": "1"}, "max-age=300; includeSubDomains"),
        (
            {"BAYWRIGHT_HSTS_SUBDOMAINS": "1", "BAYWRIGHT_HSTS_PRELOAD": "1"},
            "max-age=31536000; includeSubDomains; preload",
        ),
        ({"BAYWRIGHT_URL": "http://localhost:8000"}, None),
    ],
)
def test_how_long_a_browser_keeps_to_https_is_a_setting_and_other_hosts_are_left_out_at_first(
    env: dict[str, str], expected: str | None
) -> None:
    code = (
        "import django; django.setup(); from django.test import Client; "
        "print(Client().get('/healthz', secure=True, headers={'Host': 'localhost'}).get('Strict-Transport-Security'))"
    )
    result = start(code, **{"BAYWRIGHT_SECRET_KEY": GOOD_KEY, "BAYWRIGHT_URL": "https://localhost", **env})
    assert result.stdout.strip() == str(expected), result.stderr


def test_a_job_ends_long_before_redis_hands_it_to_somebody_else() -> None:
    from django.conf import settings

    visibility = settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"]
    assert visibility / 3 > settings.CELERY_TASK_TIME_LIMIT > settings.CELERY_TASK_SOFT_TIME_LIMIT
    assert settings.CELERY_TASK_ACKS_LATE
    assert settings.CELERY_TASK_REJECT_ON_WORKER_LOST
    assert settings.CELERY_WORKER_PREFETCH_MULTIPLIER == 1
    assert settings.CELERY_ACCEPT_CONTENT == ["json"]
