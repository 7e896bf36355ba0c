"""Settings as they come out of the environment, and what the checks say of them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.password_validation import validate_password
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.db import connection

CHECKOUT = Path(__file__).parents[2]
BROWSER_TESTS = "DJANGO_ALLOW_ASYNC_UNSAFE"  # they set it for their own process
CONTROLLED = ("DEBUG", "SECRET_KEY", "DATABASE_URL", "ALLOWED_HOSTS", "PROXY_COUNT", BROWSER_TESTS)
PRODUCTION = {
    "SECRET_KEY": "".join(map(chr, range(48, 110))),
    "DATABASE_URL": "postgresql://ward@db.example/outcomes",
    "ALLOWED_HOSTS": "outcomes.example",
}


def python(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    inherited = {name: value for name, value in os.environ.items() if name not in CONTROLLED}
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=CHECKOUT,
        env={**inherited, "DJANGO_SETTINGS_MODULE": "registry.settings", **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_nothing_need_be_set_for_development():
    done = python("manage.py", "check")
    assert done.returncode == 0, done.stderr


def test_without_debug_a_database_and_a_key_are_required():
    done = python("manage.py", "check", DEBUG="0")
    assert done.returncode == 1
    assert "registry.E001) DEBUG is off and DATABASE_URL is not set" in done.stderr
    assert "registry.E002) DEBUG is off and SECRET_KEY is not set" in done.stderr


def test_a_key_of_ones_own_means_production():
    done = python("manage.py", "migrate", SECRET_KEY=PRODUCTION["SECRET_KEY"])
    assert done.returncode == 1
    assert "registry.E001" in done.stderr
    assert "registry.E002" not in done.stderr


def test_a_web_server_does_not_start_on_development_settings():
    done = python("-c", "import registry.wsgi")
    assert done.returncode == 1
    assert "The embedded PostgreSQL server is for development only" in done.stderr
    assert "SECRET_KEY is not set" in done.stderr


def test_production_settings_pass_djangos_deployment_checks():
    done = python("manage.py", "check", "--deploy", "--fail-level", "WARNING", **PRODUCTION)
    assert done.returncode == 0, done.stderr
    assert "no issues (0 silenced)" in done.stdout


def test_production_cookies_are_bound_to_this_host_and_to_tls():
    wanted = "SESSION_COOKIE_NAME CSRF_COOKIE_NAME SESSION_COOKIE_SECURE CSRF_COOKIE_SECURE DEBUG"
    code = f"from django.conf import settings as s; print(*[getattr(s, n) for n in '{wanted}'.split()])"
    done = python("-c", code, **PRODUCTION)
    assert done.stdout.split() == ["__Host-sessionid", "__Host-csrftoken", "True", "True", "False"]


def test_importing_the_settings_starts_no_server(tmp_path):
    done = python("-c", "import django; django.setup()", PGLOCAL_DIR=str(tmp_path / "data"))
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize(
    ("password", "complaint"),
    [("fourteen-signs", "15"), ("123456789012345678", "easy to guess"), ("1q2w3e4r5t6y7u8i9o0p", "common")],
)
def test_weak_passwords_are_refused(password, complaint):
    with pytest.raises(ValidationError, match=complaint):
        validate_password(password)


def test_long_passwords_with_any_signs_are_accepted():
    validate_password("ein ganz langer Satz über Möwen " * 4)


def test_passwords_are_hashed_with_argon2id_of_known_cost():
    hashed = make_password("correct horse battery staple")
    assert hashed.startswith("argon2$argon2id$v=19$m=65536,t=3,p=1$")
    assert check_password("correct horse battery staple", hashed)


@pytest.mark.django_db
def test_security_state_is_shared_between_processes():
    cache.set("tries", 3)
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM shared_cache WHERE cache_key LIKE '%:tries'")
        assert cursor.fetchone() == (1,)


def test_history_is_appended_only_and_keeps_its_own_context():
    assert settings.PGHISTORY_APPEND_ONLY
    assert {type(tracker).__name__ for tracker in settings.PGHISTORY_DEFAULT_TRACKERS} == {
        "InsertEvent",
        "UpdateEvent",
        "DeleteEvent",
    }
