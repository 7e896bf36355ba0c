"""Write the data dictionary."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry import dictionary

PLACE = Path("docs") / "data-dictionary.md"


class Command(BaseCommand):
    """Run it after changing a column, its words or a code; a test says when it is due."""

    help = f"Write the data dictionary from the models into {PLACE}, or into FILE."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", nargs="?", type=Path, metavar="FILE")

    def handle(self, *args: Any, file: Path | None, **options: Any) -> None:
        place = file or settings.BASE_DIR / PLACE
        try:
            place.write_text(dictionary.text(), encoding="utf-8")
        except OSError as error:
            raise CommandError(f"Cannot write {place}: {error.strerror}.") from None
        self.stdout.write(f"Written: {place}")
