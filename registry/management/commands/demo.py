"""The demonstration: a registry with invented patients, on this machine only."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser


class Command(BaseCommand):
    """Bring the database up to date, load the invented data if they are missing, and serve."""

    help = "Set up the demonstration if needed and serve it until Ctrl-C."

    def add_arguments(self, parser: CommandParser) -> None:
        """Where to serve."""
        parser.add_argument("address", nargs="?", default="127.0.0.1:8000", metavar="HOST:PORT")

    def handle(self, *args: Any, address: str, **options: Any) -> None:
        """Each step says by itself what it does; load_demo also names the accounts."""
        call_command("migrate", verbosity=0)
        call_command("load_demo")
        self.stdout.write(f"\nOpen http://{address}/ and sign in with one of these accounts. Ctrl-C stops.\n")
        self.stdout.flush()
        call_command("runserver", address, use_reloader=False)
