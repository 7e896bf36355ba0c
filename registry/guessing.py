"""How guessing a password is slowed down, without letting a guesser shut out the person.

Failed sign-ins in a row are counted for an account from an address. After a few, each one doubles the wait
there, up to a quarter of an hour; a successful one ends the run. Guessers with many addresses are stopped by
the count of the account over all addresses, at the hundred of NIST SP 800-63B-4 (2025), 3.2.2, which does not
hold for an address from which this account was signed in to lately. A one-time password from the
administrator ends every wait.
"""

from __future__ import annotations

import hashlib
import math
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from django.core.cache import cache
from django.db import connection, transaction

from registry.models import User

FREE_TRIES = 5
FIRST_WAIT_SECONDS = 60
LONGEST_WAIT_SECONDS = 15 * 60
TRIES_FROM_ANYWHERE = 100
DAY_SECONDS = 24 * 60 * 60
COUNT_KEPT_SECONDS = 30 * DAY_SECONDS
ADDRESS_KNOWN_SECONDS = 90 * DAY_SECONDS


@dataclass(frozen=True)
class Tries:
    """Failed tries in a row, and when the last one was."""

    failed: int = 0
    last_at: float = 0

    def wait_seconds(self, now: float) -> float:
        """How long until the next try."""
        if self.failed < FREE_TRIES:
            return 0
        doubled = FIRST_WAIT_SECONDS * 2 ** min(self.failed - FREE_TRIES, 10)
        return max(0, self.last_at + min(doubled, LONGEST_WAIT_SECONDS) - now)


def _key(*parts: str) -> str:
    return "sign-in:" + hashlib.sha256("\x00".join(parts).encode()).hexdigest()


def _account(name: str) -> str:
    """One name for all ways of writing it; names that nobody has are counted too, so that they look alike."""
    person = User.objects.filter(username__iexact=name).values_list("pk", flat=True).first()
    return str(person) if person else f"nobody {name.casefold()}"


@contextmanager
def _one_at_a_time(account: str) -> Iterator[None]:
    """Tries at the same moment are counted one after the other, in all processes."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [_key("lock", account)])
        yield


def begin_try(name: str, address: str) -> float:
    """Seconds to wait before a try, infinite when only the administrator can help.

    If there are none, the try counts as failed until ``succeeded`` says otherwise.
    """
    account, now = _account(name), time.time()
    here, anywhere = _key("here", account, address), _key("anywhere", account)
    with _one_at_a_time(account):
        in_all: int = cache.get(anywhere, 0)
        if in_all >= TRIES_FROM_ANYWHERE and not cache.get(_key("known", account, address)):
            return math.inf
        tries: Tries = cache.get(here, Tries())
        if tries.last_at < cache.get(_key("forgiven", account), 0):
            tries = Tries()
        wait = tries.wait_seconds(now)
        if not wait:
            cache.set(here, Tries(tries.failed + 1, now), DAY_SECONDS)
            cache.set(anywhere, in_all + 1, COUNT_KEPT_SECONDS)
        return wait


def succeeded(name: str, address: str) -> None:
    """End the run of failures here and everywhere, and remember the address."""
    account = _account(name)
    cache.set(_key("known", account, address), True, ADDRESS_KNOWN_SECONDS)
    cache.delete_many([_key("here", account, address), _key("anywhere", account)])


def second_step(person: User) -> str:
    """The name under which a person's wrong codes are counted. No sign-in name has a space."""
    return f"second step of {person.pk}"


def forget_failures(person: User) -> None:
    """Let a person try again at once, from any address."""
    for account in (str(person.pk), _account(second_step(person))):
        cache.delete(_key("anywhere", account))
        cache.set(_key("forgiven", account), time.time(), DAY_SECONDS)
