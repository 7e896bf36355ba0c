"""How long somebody must wait who failed to sign in, and who never has to."""

from __future__ import annotations

import math
import threading

import pytest
from django.db import connection

from registry import guessing
from registry.models import User
from tests.factories import create_user

pytestmark = pytest.mark.django_db
HERE, THERE = "192.0.2.1", "192.0.2.2"


class Clock:
    def __init__(self) -> None:
        self.seconds = 1_000_000.0

    def time(self) -> float:
        return self.seconds


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr(guessing, "time", clock)
    return clock


@pytest.fixture
def person(centre: object) -> User:
    return create_user(centre=None, username="Cora")


def fail(times: int, address: str = HERE, name: str = "cora") -> list[float]:
    return [guessing.begin_try(name, address) for _ in range(times)]


def test_the_wait_doubles_up_to_a_quarter_of_an_hour(clock: Clock, person: User) -> None:
    assert fail(5) == [0] * 5
    waits = []
    for _ in range(7):
        waits.append(guessing.begin_try("cora", HERE))
        clock.seconds += waits[-1]
        assert guessing.begin_try("cora", HERE) == 0
    assert waits == [60, 120, 240, 480, 900, 900, 900]


def test_success_ends_the_run(clock: Clock, person: User) -> None:
    fail(5)
    clock.seconds += 60
    guessing.succeeded("cora", HERE)
    assert fail(5) == [0] * 5


def test_a_try_refused_does_not_make_the_wait_longer(clock: Clock, person: User) -> None:
    fail(30)
    clock.seconds += 60
    assert fail(1) == [0]


@pytest.mark.parametrize("name", ["CORA", "cora", "Cora"])
def test_all_ways_of_writing_a_name_are_one_account(name: str, clock: Clock, person: User) -> None:
    fail(5)
    assert fail(1, name=name) == [60]


def test_many_addresses_are_stopped_at_a_hundred(clock: Clock, person: User) -> None:
    guessing.succeeded("cora", THERE)
    tries = [guessing.begin_try("cora", f"2001:db8::{number}") for number in range(101)]
    assert tries == [0] * 100 + [math.inf]
    assert fail(1, THERE) == [0]  # a known address stays open
    guessing.forget_failures(person)
    assert fail(1) == [0]


def test_the_administrator_ends_a_wait(clock: Clock, person: User) -> None:
    fail(6)
    clock.seconds += 1
    guessing.forget_failures(person)
    assert fail(6) == [0] * 5 + [60]


@pytest.mark.django_db(transaction=True)
def test_tries_at_the_same_moment_are_all_counted() -> None:
    create_user(centre=None, username="Cora")
    waits: list[float] = []

    def work() -> None:
        waits.append(guessing.begin_try("cora", HERE))
        connection.close()

    threads = [threading.Thread(target=work) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert sorted(bool(wait) for wait in waits) == [False] * 5 + [True] * 7
