"""Write the handbook's generated pages."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from outcomes.handbook import estimators, measures

PAGES = {"estimators.md": estimators.text, "measures.md": measures.text}


class Command(BaseCommand):
    """Run it after changing an estimator, a test of one, or a measure; a test says when it is due."""

    help = f"Write {' and '.join(PAGES)} into docs/, or into FOLDER."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", nargs="?", type=Path, metavar="FOLDER")

    def handle(self, *args: Any, folder: Path | None, **options: Any) -> None:
        for name, text in PAGES.items():
            place = (folder or settings.BASE_DIR / "docs") / name
            try:
                place.write_text(text(), encoding="utf-8")
            except OSError as error:
                raise CommandError(f"Cannot write {place}: {error.strerror}.") from None
            self.stdout.write(f"Written: {place}")
