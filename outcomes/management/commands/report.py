"""Write the report of a period: as JSON, slides, a printed packet, a workbook."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError
from django.utils.dateparse import parse_datetime

from outcomes.dataset import load_dataset
from outcomes.exports.material import Material, gather
from outcomes.exports.packet import packet
from outcomes.exports.slides import slides
from outcomes.exports.workbook import workbook
from outcomes.period import HOW_TO_WRITE, Period, PeriodError
from outcomes.report.serialise import as_json
from registry.models import Centre

Make = Callable[[Material], bytes]
FILES: dict[str, tuple[str, Make]] = {
    "json": ("the report as JSON; - for the screen", lambda material: as_json(material.report).encode()),
    "slides": ("slides, .pptx", slides),
    "packet": ("the printed packet, .pdf", packet),
    "workbook": ("the workbook, .xlsx", workbook),
}
SCREEN = Path("-")


class Command(BaseCommand):
    """One period, one centre or all of them, live or as of a past moment."""

    help = __doc__

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--period", required=True, help=HOW_TO_WRITE)
        for name, (meaning, _) in FILES.items():
            parser.add_argument(f"--{name}", type=Path, metavar="FILE", help=f"where to write {meaning}")
        parser.add_argument("--centre", metavar="CODE", help="one centre; default: all")
        parser.add_argument(
            "--as-of",
            metavar="MOMENT",
            help="data cut, such as 2026-10-01T09:00 (the centre's time unless it says)",
        )
        parser.add_argument(
            "--no-cases", action="store_true", help="leave out the cases for discussion, as for the committee"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, compute, write; says on standard error what it is doing."""
        wanted = {name: options[name] for name in FILES if options[name]}
        if not wanted:
            raise CommandError(f"name a file: {', '.join(f'--{name}' for name in FILES)}")
        centres = _centres(options["centre"])
        as_of = _moment(options["as_of"], centres[0].zone) if options["as_of"] else None
        started = time.monotonic()
        dataset = load_dataset(centres=centres, as_of=as_of)
        self._say(started, "logbook read")
        try:
            period = Period.parse(options["period"], dataset.zone)
        except PeriodError as error:
            raise CommandError(str(error)) from None
        material = gather(dataset=dataset, period=period, as_of=as_of, cases=not options["no_cases"])
        self._say(started, f"report of {period.label} computed")
        for name, file in wanted.items():
            self._write(file, FILES[name][1](material))
            self._say(started, f"{name} written")

    def _write(self, file: Path, content: bytes) -> None:
        if file == SCREEN:
            self.stdout.write(content.decode(), ending="")
        else:
            file.write_bytes(content)

    def _say(self, started: float, what: str) -> None:
        self.stderr.write(f"{time.monotonic() - started:5.1f} s  {what}")


def _centres(code: str | None) -> list[Centre]:
    """The centre of that code, or all of them."""
    centres = list(Centre.objects.filter(code=code) if code else Centre.objects.all())
    if not centres:
        raise CommandError("there is no such centre")
    return centres


def _moment(text: str, zone: ZoneInfo) -> datetime:
    """An ISO moment; one without an offset is in the centre's time."""
    try:
        found = parse_datetime(text)
    except ValueError:
        found = None
    if found is None:
        raise CommandError(f"“{text}” is no moment; write 2026-10-01T09:00")
    return found if found.tzinfo else found.replace(tzinfo=zone)
