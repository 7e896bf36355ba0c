"""Write the report of a period as JSON."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError
from django.utils.dateparse import parse_datetime

from outcomes.dataset import load_dataset
from outcomes.period import HOW_TO_WRITE, Period, PeriodError
from outcomes.report import build_report
from outcomes.report.serialise import as_json
from registry.models import Centre


class Command(BaseCommand):
    """One period, one centre or all of them, live or as of a past moment."""

    help = __doc__

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--period", required=True, help=HOW_TO_WRITE)
        parser.add_argument(
            "--json", required=True, type=Path, metavar="FILE", help="where to write; - for the screen"
        )
        parser.add_argument("--centre", metavar="CODE", help="one centre; default: all")
        parser.add_argument(
            "--as-of",
            metavar="MOMENT",
            help="data cut, such as 2026-10-01T09:00 (the centre's time unless it says)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, compute, write."""
        centres = list(Centre.objects.all())
        if options["centre"]:
            centres = [centre for centre in centres if centre.code == options["centre"]]
        if not centres:
            raise CommandError("there is no such centre")
        as_of = _moment(options["as_of"], centres[0].zone) if options["as_of"] else None
        dataset = load_dataset(centres=centres, as_of=as_of)
        try:
            period = Period.parse(options["period"], dataset.zone)
        except PeriodError as error:
            raise CommandError(str(error)) from None
        text = as_json(build_report(dataset=dataset, period=period, as_of=as_of))
        if str(options["json"]) == "-":
            self.stdout.write(text, ending="")
        else:
            options["json"].write_text(text, encoding="utf-8")


def _moment(text: str, zone: ZoneInfo) -> datetime:
    """An ISO moment; one without an offset is in the centre's time."""
    try:
        found = parse_datetime(text)
    except ValueError:
        found = None
    if found is None:
        raise CommandError(f"“{text}” is no moment; write 2026-10-01T09:00")
    return found if found.tzinfo else found.replace(tzinfo=zone)
