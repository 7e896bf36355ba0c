"""A PostgreSQL server of the project's own: started by the first process that connects, stopped by the last.

For development, demonstration and tests. It listens on a socket in a private folder, not on the network.
All its files lie in one folder (``.data/`` in the checkout), so two checkouts never share a server:

* ``pg18/``: the data, named after the server's major version
* ``start.lock``: held while somebody starts or stops the server
* ``users.lock``: held, shared, by every process that uses it; the kernel lets go of it for a killed process
* ``pgpass``: a random password; ``server.log``
"""

from __future__ import annotations

import atexit
import fcntl
import functools
import os
import secrets
import shlex
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path
from typing import IO

import psycopg
from django.core.exceptions import ImproperlyConfigured
from psycopg import sql

from registry.database import NAME
from registry.postgres.account import Account, account_for
from registry.postgres.binaries import binaries, major_version

PORT = "5432"  # only names the socket
SOCKET_FILE = f".s.PGSQL.{PORT}"
SOCKET_PATH_MAX_BYTES = 103  # of the systems that run this, macOS allows least
SUPERUSER = "postgres"
START_SECONDS = 120  # recovery after a crash is part of a start
RETRY_SECONDS = 15
# A killed server's memory and lock file outlive it for a moment.
PASSES_BY_ITSELF = ("still in use", "already exists")


class ServerError(ImproperlyConfigured):
    """The embedded server cannot be set up or started; the text says why."""


@functools.cache
def embedded_server(folder: str) -> EmbeddedServer:
    """This process's one handle on the server with its data in ``folder``."""
    return EmbeddedServer(Path(folder))


class EmbeddedServer:
    """A server with its data in ``folder``; under root in a folder that the server's account may enter."""

    def __init__(self, folder: Path) -> None:
        self.account = account_for(folder)
        self.folder = _reachable(folder, self.account)
        self._users: IO[str] | None = None

    def ensure(self) -> dict[str, str]:
        """Start the server unless it runs, count this process among its users, and say how to connect.

        Raises ServerError if it cannot be started.
        """
        listening = self._listening_in() if self._users else None
        if listening is None:
            _private_folder(self.folder, self.account)
            with self._locked():
                listening = self._listening_in() or self._start()
                self._join()
        return {"host": str(listening), "port": PORT, "passfile": str(self.passfile)}

    def release(self) -> None:
        """Stop using the server, and stop it unless somebody else uses it."""
        if self._users is None:
            return
        with self._locked():
            users, self._users = self._users, None
            with users:
                try:
                    fcntl.flock(users, fcntl.LOCK_EX | fcntl.LOCK_NB)
                except BlockingIOError:
                    return
                if listening := self._listening_in():
                    self._run("pg_ctl", "-D", str(self.data), "-m", "fast", "-w", "stop")
                    with suppress(OSError):
                        listening.rmdir()

    @property
    def passfile(self) -> Path:
        """The file from which the client takes the password."""
        return self.folder / "pgpass"

    @functools.cached_property
    def bindir(self) -> Path:
        """The server's programs."""
        return binaries(self.folder, self.account)

    @functools.cached_property
    def major(self) -> int:
        """The major version of the server's programs."""
        return major_version(self.bindir)

    @functools.cached_property
    def data(self) -> Path:
        """The server's own folder, which only programs of the same major version can read."""
        return self.folder / f"pg{self.major}"

    def _start(self) -> Path:
        if not self.data.exists():
            self._create()
        socket_folder = self._socket_folder()
        _private_folder(socket_folder, self.account)
        options = f"-p {PORT} -k {shlex.quote(str(socket_folder))}"
        give_up_at = time.monotonic() + RETRY_SECONDS
        while True:
            try:
                self._run(
                    "pg_ctl", "-D", str(self.data), "-l", str(self._log), "-o", options,
                    "-w", "-t", str(START_SECONDS), "start",
                )  # fmt: skip
                break
            except ServerError as error:
                said = f"{error}\n{self._log_tail()}"
                if time.monotonic() > give_up_at or not any(words in said for words in PASSES_BY_ITSELF):
                    raise ServerError(said) from None
                time.sleep(0.3)
        self._create_database(socket_folder)
        return socket_folder

    def _create(self) -> None:
        """Run initdb beside the final place. One cut short leaves ``new-…`` behind, removed here; each has a
        folder of its own, since the one cut short may still be running.
        """
        self._refuse_other_major()
        for abandoned in self.folder.glob("new-*"):
            shutil.rmtree(abandoned, ignore_errors=True)
        unfinished = Path(tempfile.mkdtemp(prefix="new-", dir=self.folder))
        self.account.take(unfinished)
        password = secrets.token_urlsafe(32)
        pwfile = self._write_secret("pwfile", password)
        self._write_secret(self.passfile.name, f"*:*:*:*:{password}\n")
        locale = ["--locale=C.UTF-8"]
        if self.major >= 17:  # the same order on every system
            locale = ["--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
        self._run(
            "initdb", "-D", str(unfinished), "-U", SUPERUSER, "-E", "UTF8", *locale,
            "--auth=scram-sha-256", "--pwfile", str(pwfile), "--data-checksums",
        )  # fmt: skip
        pwfile.unlink()
        with (unfinished / "postgresql.auto.conf").open("a") as conf:
            conf.write("listen_addresses = ''\ntimezone = 'UTC'\nlog_timezone = 'UTC'\n")
        unfinished.rename(self.data)

    def _refuse_other_major(self) -> None:
        for other in sorted(self.folder.glob("pg[1-9][0-9]")):
            raise ServerError(
                f"{other} holds data of another PostgreSQL version than the installed {self.major}. "
                "Dump them with that version and restore them, or remove the folder to begin with none."
            )

    def _create_database(self, socket_folder: Path) -> None:
        """Make the site's role and database if they are missing. The role is no superuser."""
        with psycopg.connect(
            host=str(socket_folder), port=PORT, user=SUPERUSER, dbname="postgres",
            passfile=str(self.passfile), autocommit=True,
        ) as connection:  # fmt: skip
            name = sql.Identifier(NAME)
            if not connection.execute("SELECT FROM pg_roles WHERE rolname = %s", [NAME]).rowcount:
                password = self.passfile.read_text().strip().rpartition(":")[2]
                connection.execute(
                    sql.SQL("CREATE ROLE {} LOGIN CREATEDB PASSWORD {}").format(name, sql.Literal(password))
                )
            if not connection.execute("SELECT FROM pg_database WHERE datname = %s", [NAME]).rowcount:
                connection.execute(sql.SQL("CREATE DATABASE {0} OWNER {0}").format(name))

    def _join(self) -> None:
        if self._users is None:
            self._users = (self.folder / "users.lock").open("a")
            self.account.take(self.folder / "users.lock")
            fcntl.flock(self._users, fcntl.LOCK_SH)
            atexit.register(self.release)

    @contextmanager
    def _locked(self) -> Iterator[None]:
        with (self.folder / "start.lock").open("a") as lock:
            self.account.take(self.folder / "start.lock")
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def _socket_folder(self) -> Path:
        """A short path of its own for each data folder."""
        digest = sha256(str(self.folder).encode()).hexdigest()[:12]
        found = Path(tempfile.gettempdir()).resolve() / f"{NAME}-{digest}"
        if len(str(found / SOCKET_FILE).encode()) > SOCKET_PATH_MAX_BYTES:
            raise ServerError(f"The path is too long for a socket: {found}; set TMPDIR to a shorter one")
        return found

    def _listening_in(self) -> Path | None:
        """The socket's folder if the server answers; it may have been started under another TMPDIR."""
        try:
            found = Path((self.data / "postmaster.pid").read_text().splitlines()[4])
        except (OSError, IndexError):
            return None
        with socket.socket(socket.AF_UNIX) as client:
            client.settimeout(1)
            return found if client.connect_ex(str(found / SOCKET_FILE)) == 0 else None

    def _run(self, tool: str, *arguments: str) -> None:
        """Run one of PostgreSQL's programs as the server's account. Raises ServerError if it fails."""
        environment = {name: value for name, value in os.environ.items() if not name.startswith("PG")}
        with tempfile.TemporaryFile("w+") as output:  # not a pipe: the server would keep it open
            done = subprocess.run(  # noqa: S603
                [self.bindir / tool, *arguments],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                cwd=self.folder,
                env={**environment, "LC_ALL": "C"},
                check=False,
                **self.account.identity,
            )
            output.seek(0)
            said = output.read().strip()
        if done.returncode != 0:
            raise ServerError(f"{tool} failed in {self.folder}: {said}")

    @property
    def _log(self) -> Path:
        return self.folder / "server.log"

    def _log_tail(self) -> str:
        with suppress(OSError):
            return "\n".join(self._log.read_text(errors="replace").splitlines()[-5:])
        return ""

    def _write_secret(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.unlink(missing_ok=True)
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(text)
        self.account.take(path)
        return path


def _reachable(folder: Path, account: Account) -> Path:
    """``folder``; for root a place outside if the account may not enter the checkout (below /root, say)."""
    existing = next(path for path in (folder, *folder.parents) if path.exists())
    if not account.switch or account.may_enter(existing):
        return folder
    digest = sha256(str(folder).encode()).hexdigest()[:12]
    return Path("/var/tmp") / f"{NAME}-data-{digest}"  # noqa: S108 - made private and checked before use


def _private_folder(folder: Path, account: Account) -> None:
    """Make ``folder`` for ``account`` alone, and refuse one that somebody else has put there."""
    if not folder.exists():
        folder.mkdir(mode=0o700, parents=True)
    found = folder.lstat()
    if folder.is_symlink() or found.st_uid not in (account.uid, os.geteuid()):
        raise ServerError(f"{folder} belongs to another account; remove it, or set PGLOCAL_DIR")
    if found.st_uid != account.uid:
        account.take(folder)
