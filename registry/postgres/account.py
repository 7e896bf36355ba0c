"""Who the embedded server runs as. PostgreSQL refuses root, so root hands it to an ordinary account."""

from __future__ import annotations

import os
import pwd
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict


class Identity(TypedDict, total=False):
    """Arguments of subprocess.run that give up root's rights."""

    user: int
    group: int
    extra_groups: list[int]


@dataclass(frozen=True)
class Account:
    """An account of the operating system. ``switch`` says that we are root and have to change to it."""

    uid: int
    gid: int
    switch: bool

    @property
    def identity(self) -> Identity:
        """What subprocess.run needs to run a program as this account."""
        return {"user": self.uid, "group": self.gid, "extra_groups": []} if self.switch else {}

    def may_enter(self, folder: Path) -> bool:
        """Whether this account can reach ``folder``. Asked of the system, since any parent may forbid it."""
        if not self.switch:
            return os.access(folder, os.X_OK)
        probe = ["test", "-x", str(folder)]
        return subprocess.run(probe, cwd="/", check=False, **self.identity).returncode == 0  # noqa: S603

    def take(self, path: Path) -> None:
        """Make ``path`` this account's own."""
        if self.switch:
            os.chown(path, self.uid, self.gid)


def account_for(folder: Path) -> Account:
    """The account for a server with its data in ``folder``: our own, or for root the first ordinary one of
    those that own the data, called sudo, or own the checkout; then ``postgres``; then ``nobody``.
    """
    if os.geteuid() != 0:
        return Account(os.geteuid(), os.getegid(), switch=False)
    entry = next(_ordinary(folder))
    return Account(entry.pw_uid, entry.pw_gid, switch=True)


def _ordinary(folder: Path) -> Iterator[pwd.struct_passwd]:
    for uid in _interested(folder):
        try:
            entry = pwd.getpwuid(uid)
        except KeyError:  # a folder mounted from outside may belong to an account unknown here
            continue
        if entry.pw_uid != 0:
            yield entry
    for name in ("postgres", "nobody"):
        try:
            yield pwd.getpwnam(name)
        except KeyError:
            continue


def _interested(folder: Path) -> Iterator[int]:
    if folder.exists():
        yield folder.stat().st_uid
    if os.environ.get("SUDO_UID", "").isdigit():
        yield int(os.environ["SUDO_UID"])
    if folder.parent.exists():
        yield folder.parent.stat().st_uid
