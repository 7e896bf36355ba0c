"""Write the report of a period, with the comparison of the routes: JSON, slides, packet, workbook."""

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

from outcomes.comparison.reading import load
from outcomes.comparison.serialise import as_json as comparison_as_json
from outcomes.exports.material import Material, gather
from outcomes.exports.packet import packet
from outcomes.exports.run_sheet import workbook_with_runs
from outcomes.exports.slides import slides
from outcomes.exports.workbook import workbook
from outcomes.extract.limits import EXTRACTORS, SMALLEST_ALLOWED, USUAL_SMALLEST
from outcomes.period import HOW_TO_WRITE, Period, PeriodError
from outcomes.report.serialise import as_json
from registry.models import Centre, User

Make = Callable[[Material], bytes]
FILES: dict[str, tuple[str, Make]] = {
    "json": ("the report as JSON; - for the screen", lambda material: as_json(material.report).encode()),
    "comparison": ("the comparison of the routes as JSON", lambda material: _comparison(material)),
    "slides": ("slides, .pptx", slides),
    "packet": ("the printed packet, .pdf", packet),
    "workbook": ("the workbook, .xlsx", workbook),
}
RUNS = ("runs_purpose", "runs_approval", "runs_by")
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
            "--committee",
            action="store_true",
            help="as the quality committee sees it: small counts hidden, no single cases, no curves",
        )
        parser.add_argument(
            "--runs-purpose",
            metavar="TEXT",
            help="put the de-identified runs into the workbook, for this purpose; implies --committee",
        )
        parser.add_argument("--runs-approval", metavar="TEXT", help="the approval that covers them")
        parser.add_argument("--runs-by", metavar="USER", help="who takes them: noted as an extract")
        parser.add_argument(
            "--runs-alike", metavar="N", type=int, default=USUAL_SMALLEST, help="fewest patients alike"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, compute, write; says on standard error what it is doing."""
        wanted = {name: options[name] for name in FILES if options[name]}
        if not wanted:
            raise CommandError(f"name a file: {', '.join(f'--{name}' for name in FILES)}")
        centres = _centres(options["centre"])
        as_of = _moment(options["as_of"], centres[0].zone) if options["as_of"] else None
        taker = _taker(options, centres)
        started = time.monotonic()
        dataset, facts = load(centres=centres, as_of=as_of)
        self._say(started, "logbook read")
        try:
            period = Period.parse(options["period"], dataset.zone)
        except PeriodError as error:
            raise CommandError(str(error)) from None
        smallest_cell = max(centre.smallest_cell for centre in centres)
        hides = options["committee"] or taker
        material = gather(
            dataset=dataset,
            facts=facts,
            period=period,
            as_of=as_of,
            smallest_cell=smallest_cell if hides else None,
        )
        self._say(started, f"report of {period.label} and comparison of the routes computed")
        for name, file in wanted.items():
            if name == "workbook" and taker:
                self._write(file, _with_runs(material, centres[0], taker, options))
            else:
                self._write(file, FILES[name][1](material))
            self._say(started, f"{name} written")

    def _write(self, file: Path, content: bytes) -> None:
        if file == SCREEN:
            self.stdout.write(content.decode(), ending="")
        else:
            file.write_bytes(content)

    def _say(self, started: float, what: str) -> None:
        self.stderr.write(f"{time.monotonic() - started:5.1f} s  {what}")


def _comparison(material: Material) -> bytes:
    if material.compared is None:
        raise CommandError("there is nothing to compare yet")
    return comparison_as_json(material.compared).encode()


def _taker(options: dict[str, Any], centres: list[Centre]) -> User | None:
    """Who takes the runs, if they are asked for; purpose, approval and person go together."""
    given = [name for name in RUNS if options[name]]
    if not given:
        return None
    if len(given) < len(RUNS) or not options["workbook"] or len(centres) != 1:
        raise CommandError("runs need --runs-purpose, --runs-approval, --runs-by, --workbook and one centre")
    if options["runs_alike"] < SMALLEST_ALLOWED:
        raise CommandError(f"--runs-alike: at least {SMALLEST_ALLOWED}")
    found = User.objects.filter(username=options["runs_by"], centre=centres[0], role__in=EXTRACTORS).first()
    if found is None:
        raise CommandError("--runs-by: nobody of that name at the centre may take runs")
    return found


def _with_runs(material: Material, centre: Centre, by: User, options: dict[str, Any]) -> bytes:
    """As from the page: with the rows and a note of it, or with the reason for their absence."""
    why = {"purpose": options["runs_purpose"], "approval": options["runs_approval"]}
    return workbook_with_runs(material, centre=centre, by=by, smallest_group=options["runs_alike"], **why)


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
