"""The embedded server through its life: cold and warm starts, crashes, several users at once."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psycopg
import pytest

from registry.postgres import server as server_module
from registry.postgres.server import EmbeddedServer, ServerError

CHECKOUT = Path(__file__).parents[3]
USER = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background jobs start with it ignored
from registry.postgres.server import embedded_server
host = embedded_server(sys.argv[1]).ensure()["host"]
print(host, flush=True)
sys.stdin.read()
"""


@pytest.fixture
def folder():
    """A folder that any account may enter, since root hands the server to another one."""
    parent = Path(tempfile.mkdtemp(prefix="server-test-"))
    parent.chmod(0o755)
    yield parent / "data"
    shutil.rmtree(parent)


@pytest.fixture
def server(folder):
    server = EmbeddedServer(folder)
    yield server
    server.release()


@pytest.fixture
def user(folder):
    """Start another process that uses the server until its input ends."""
    started = []

    def start(**environment: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-c", USER, str(folder)],
            cwd=CHECKOUT,
            env={**os.environ, **environment},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        started.append(process)
        return process

    yield start
    for process in started:
        if process.poll() is None:
            process.kill()
        process.communicate()


def connect(server: EmbeddedServer) -> psycopg.Connection:
    return psycopg.connect(**server.ensure(), user="dwellbook", dbname="dwellbook", autocommit=True)


def postmaster(server: EmbeddedServer) -> int:
    return int((server.data / "postmaster.pid").read_text().split()[0])


def test_data_outlive_a_stop(server):
    with connect(server) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 1 AS one")
    server.release()
    assert server._listening_in() is None
    assert not server._socket_folder().exists()
    with connect(server) as connection:
        assert connection.execute("SELECT one FROM kept").fetchone() == (1,)


def test_role_is_no_superuser_but_may_add_trusted_extensions(server):
    with connect(server) as connection:
        connection.execute("CREATE EXTENSION btree_gist")
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            connection.execute("COPY (SELECT 1) TO PROGRAM 'true'")


def test_text_is_compared_alike_everywhere(server):
    with connect(server) as connection:
        found = connection.execute(
            "SELECT upper('é'), 'a' > 'B', current_setting('listen_addresses')"
        ).fetchone()
    assert found == ("É", True, "")


def test_files_are_private(server):
    server.ensure()
    assert server.folder.stat().st_mode & 0o077 == 0
    assert server._socket_folder().stat().st_mode & 0o077 == 0
    assert server.passfile.stat().st_mode & 0o077 == 0


def test_processes_that_start_at_once_share_one_server(server, user):
    users = [user() for _ in range(6)]
    assert {process.stdout.readline().strip() for process in users} == {str(server._socket_folder())}
    running = postmaster(server)
    for process in users[:-1]:
        process.communicate()
    assert postmaster(server) == running
    assert server._listening_in()
    users[-1].communicate()
    assert server._listening_in() is None


def test_a_folder_made_beforehand_is_taken_over(server, folder):
    folder.mkdir()
    with connect(server) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_a_killed_user_does_not_keep_the_server_up(server, user):
    first, second = user(), user()
    first.stdout.readline()
    second.stdout.readline()
    first.kill()
    first.wait()
    assert server._listening_in()
    second.communicate()
    assert server._listening_in() is None


def test_interrupting_the_starter_leaves_the_server_to_the_others(server, user):
    starter = user()
    starter.stdout.readline()
    with connect(server) as connection:
        os.killpg(starter.pid, signal.SIGINT)
        starter.wait(timeout=60)
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_initdb_cut_short_is_repaired(server, user):
    starter = user()
    while not list(server.folder.glob("new-*/base")):
        assert starter.poll() is None
        time.sleep(0.005)
    starter.kill()
    starter.wait()
    assert not server.data.exists()
    with connect(server) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_a_crash_loses_no_acknowledged_row(server):
    with connect(server) as connection:
        connection.execute("CREATE TABLE kept (number int)")
        for number in range(100):
            connection.execute("INSERT INTO kept VALUES (%s)", [number])
        os.kill(postmaster(server), signal.SIGKILL)
        while server._listening_in():
            time.sleep(0.01)
    with connect(server) as connection:
        assert connection.execute("SELECT count(*) FROM kept").fetchone() == (100,)


def test_missing_database_is_made_at_the_next_start(server, monkeypatch):
    monkeypatch.setattr(EmbeddedServer, "_create_database", lambda *_: None)
    server.ensure()
    server.release()
    monkeypatch.undo()
    with connect(server) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_another_temporary_folder_finds_the_same_server(server, user, tmp_path):
    server.ensure()
    other = user(TMPDIR=str(tmp_path))
    assert other.stdout.readline().strip() == str(server._listening_in())


def test_a_folder_that_only_we_may_enter_will_do(folder):
    folder.parent.chmod(0o700)
    server = EmbeddedServer(folder)
    try:
        with connect(server) as connection:
            assert connection.execute("SELECT 1").fetchone() == (1,)
    finally:
        server.release()
        shutil.rmtree(server.folder)


def test_data_of_another_version_are_left_alone(server):
    (server.folder / "pg13").mkdir(parents=True)
    server.account.take(server.folder)
    with pytest.raises(ServerError, match="pg13 holds data of another PostgreSQL version"):
        server.ensure()


def test_a_failing_program_is_quoted(server):
    server.ensure()
    with pytest.raises(ServerError, match=r"pg_ctl failed .* no database directory"):
        server._run("pg_ctl", "start")


def test_a_socket_folder_put_there_by_somebody_else_is_refused(server, monkeypatch, tmp_path):
    monkeypatch.setattr(server, "_socket_folder", lambda: tmp_path / "link")
    (tmp_path / "link").symlink_to(tmp_path)
    with pytest.raises(ServerError, match="belongs to another account"):
        server.ensure()


def test_a_path_too_long_for_a_socket_is_refused(server, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(server_module.tempfile, "gettempdir", lambda: "/" + "x" * 100)
        with pytest.raises(ServerError, match="too long for a socket"):
            server._socket_folder()
