"""Read plain tables into the registry."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.tables import ImportReport, import_tables, lines


class Command(BaseCommand):
    """All rows or none; every problem is named by file, row and column."""

    help = "Add what the CSV files in FOLDER hold: everything, or nothing if anything is wrong."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", type=Path, metavar="FOLDER")
        parser.add_argument("--dry-run", action="store_true", help="report as a real run would, keep nothing")
        parser.add_argument(
            "--centre", default="", metavar="CODE", help="all rows are of this centre, stated or not"
        )

    def handle(self, *args: Any, folder: Path, dry_run: bool, centre: str, **options: Any) -> None:
        try:
            if not folder.is_dir():
                raise CommandError(f"{folder} is not a folder.")
            report = import_tables(folder, dry_run=dry_run, centre=centre, progress=self.show)
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or error
            raise CommandError(f"Cannot read {folder}: {why}.") from None
        self.tell(report, dry_run)

    def show(self, name: str, done: int, total: int) -> None:
        self.stderr.write(f"{name}: {done} of {total} rows")

    def tell(self, report: ImportReport, dry_run: bool) -> None:
        for line in lines(report.questions):
            self.stdout.write(f"To ask: {line}")
        if report.complaints:
            for line in lines(report.complaints):
                self.stderr.write(self.style.ERROR(line))
            found = f"{len(report.complaints)} problems, {len(report.questions)} questions."
            raise CommandError(f"{found} Nothing was kept.")
        for name, rows in report.counts.items():
            self.stdout.write(f"{rows:7d}  {name}")
        kept = "would be added; this was a dry run" if dry_run else "added"
        total = sum(report.counts.values())
        asked = f"{len(report.questions)} questions to ask."
        self.stdout.write(self.style.SUCCESS(f"{total} rows {kept}. {asked}"))
