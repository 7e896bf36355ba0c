"""Fill an empty registry with an invented programme."""

from datetime import date
from time import perf_counter
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError
from django.utils import timezone

from registry.demo.loading import load
from registry.demo.programme import ACCOUNTS, PASSWORD, new_centre, tell
from registry.models import Centre, Patient, User


class Command(BaseCommand):
    """Three invented years of one hospital; refused wherever real patients might be."""

    help = "Load the invented demonstration programme into an empty registry (development only)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--seed", type=int, default=1, metavar="N", help="another seed, another programme"
        )
        parser.add_argument("--today", default="", metavar="YYYY-MM-DD", help="the last day of the story")

    def handle(self, *args: Any, seed: int, today: str, **options: Any) -> None:
        if not settings.EMBEDDED_SERVER_ALLOWED:
            raise CommandError("The demonstration is loaded only where DEBUG is on.")
        if self._is_loaded():
            self.stdout.write("The demonstration is already loaded.")
        else:
            self._load(_day(today), seed)
        self._tell_accounts()

    def _is_loaded(self) -> bool:
        """Whether the demonstration is there; refuses a registry that holds anything else."""
        try:
            centre = Centre.objects.filter(code=new_centre().code).exists()
            accounts = User.objects.filter(username__in=ACCOUNTS).exists()
            patients = Patient.objects.exists()
        except DatabaseError:
            raise CommandError("The database is not ready. Run manage.py migrate first.") from None
        if (centre, accounts, patients) == (True, True, True):
            return True
        if centre or accounts or patients:
            raise CommandError("This registry already holds patients or accounts; nothing was loaded.")
        return False

    def _load(self, today: date, seed: int) -> None:
        started = perf_counter()
        self.stdout.write("Inventing three years of a programme …")
        story = tell(today, seed)
        counts = load(story, seed=seed, progress=lambda words: self.stdout.write(f"  {words}"))
        for words, count in counts.items():
            self.stdout.write(f"{count:7d}  {words}")
        self.stdout.write(self.style.SUCCESS(f"Loaded in {perf_counter() - started:.1f} s."))

    def _tell_accounts(self) -> None:
        self.stdout.write(f"Accounts, all with the password {PASSWORD} (for this demonstration only):")
        for name, role in ACCOUNTS.items():
            self.stdout.write(f"  {name:<14} {role.label}")


def _day(text: str) -> date:
    today = timezone.localdate(timezone=new_centre().zone)
    try:
        day = date.fromisoformat(text) if text else today
    except ValueError:
        raise CommandError(f"{text[:40]} is not a day such as 2026-03-04.") from None
    if not date(2005, 1, 1) <= day <= today:
        raise CommandError("The story must end between 2005 and today.")
    return day
