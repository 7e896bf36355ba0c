"""Write the registry as plain tables."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.tables import export_tables


class Command(BaseCommand):
    """One CSV file per entity, without record numbers, accounts and answers."""

    help = "Write every table of the registry into FOLDER as CSV, replacing files of the same name."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", type=Path, metavar="FOLDER")

    def handle(self, *args: Any, folder: Path, **options: Any) -> None:
        try:
            counts = export_tables(folder, progress=self.show)
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or error
            raise CommandError(f"Cannot write into {folder}: {why}.") from None
        for name, rows in counts.items():
            self.stdout.write(f"{rows:7d}  {name}.csv")
        self.stdout.write(self.style.SUCCESS(f"{sum(counts.values())} rows written into {folder}"))

    def show(self, name: str, done: int, total: int) -> None:
        self.stderr.write(f"{done}/{total}  {name}")
