"""Files of an issued report: the kept figures with their seal, and what was known beside them then, whatever
the logbook says by now.
"""

from __future__ import annotations

import html
import io
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client, RequestFactory
from django.urls import reverse
from openpyxl import load_workbook
from pptx import Presentation

from outcomes.committee import for_committee
from outcomes.comparison.cuts import last_quarter_end
from outcomes.comparison.reading import load
from outcomes.comparison.serialise import as_json as comparison_as_json
from outcomes.comparison.value import Comparison
from outcomes.exports.material import Material, gather
from outcomes.exports.packet import packet, packet_html
from outcomes.exports.slides import slides
from outcomes.exports.workbook import workbook
from outcomes.issuing import files, issue, kept_report, settled_moment
from outcomes.issuing.files import issued_material, seal_of
from outcomes.issuing.issue import data_cut, issue_number, issued_period
from outcomes.period import Period
from outcomes.trends import TRENDS
from registry.models import Download, Event, IssuedReport, Run, User
from tests.factories import create_user
from tests.outcomes.builder import Logbook, at
from tests.outcomes.exports.conftest import fill
from tests.outcomes.exports.test_packet import text_of

pytestmark = pytest.mark.django_db(transaction=True)

NAMES = ("issued_slides", "issued_packet", "issued_workbook")


@pytest.fixture
def book(transactional_db: None) -> Logbook:
    return fill(Logbook())


@pytest.fixture
def signer(book: Logbook) -> User:
    return create_user(
        centre=book.centre, username="signer", role="PHYSICIAN", first_name="Ann", last_name="Case"
    )


def issue_it(book: Logbook, signer: User) -> IssuedReport:
    as_of: datetime = settled_moment()
    period = Period.parse("2026-Q3", book.centre.zone)
    return issue(centre=book.centre, period=period, statement="I have read it.", as_of=as_of, by=signer)


@pytest.fixture
def issued(book: Logbook, signer: User) -> IssuedReport:
    return issue_it(book, signer)


def change_the_logbook(book: Logbook) -> None:
    """A kept event goes, others are corrected, new courses come in this quarter and in one before."""
    Event.objects.filter(kind="LIMB").delete()
    Event.objects.filter(barc="3a").update(barc="2", review="CONFIRMED", onset_at=at("2026-07-04 11:00"))
    Run.objects.filter(inserted_at=at("2026-07-02 10:00")).update(route="AXILLARY_R")
    for began, ended in (("2026-08-10 09:00", "2026-08-12 09:00"), ("2026-05-10 09:00", "2026-05-12 09:00")):
        course = book.course()
        run = book.run(course, began, ended)
        book.event(course, began, "BLEEDING", run=run, serious=True)


def write_into_the_history(issued: IssuedReport) -> None:
    """What must not happen: the removal of an event, said to have been before the issue."""
    columns = "SELECT column_name FROM information_schema.columns WHERE table_name = %s"
    history = Event.history.rel.related_model._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(columns, [history])
        names = ", ".join({name for (name,) in cursor.fetchall()} - {"pgh_id", "pgh_label", "pgh_created_at"})
        cursor.execute(
            f"INSERT INTO {history} (pgh_label, pgh_created_at, {names}) "
            f"SELECT 'delete', %s, {names} FROM {history} WHERE kind = 'LIMB'",
            [issued.as_of - timedelta(seconds=1)],
        )


def material_for(user: User, issued: IssuedReport) -> Material:
    """What the files hold for a person."""
    request: Any = RequestFactory().get("/")
    request.user, request.centre = user, issued.centre
    return issued_material(request, issued)


def known_now(issued: IssuedReport) -> Material:
    """What live files would hold if the clock had stood still since the issue."""
    dataset, facts = load(centres=[issued.centre], cut_at=data_cut(issued.as_of))
    return gather(dataset=dataset, facts=facts, period=issued_period(issued))


def said(compared: Comparison | None) -> str:
    """All that a comparison says, whether its rows were read live or from the history."""
    assert compared is not None
    return comparison_as_json(replace(compared, as_of=None))


def texts_of(material: Material, folder: Path) -> dict[str, str]:
    """What the cover of the packet, the title slide with its notes and the sheet Provenance say."""
    first = Presentation(io.BytesIO(slides(material))).slides[0]
    shown = " ".join(shape.text_frame.text for shape in first.shapes if shape.has_text_frame)
    sheet = load_workbook(io.BytesIO(workbook(material)))["Provenance"]
    found = {
        "slide": shown,
        "notes": first.notes_slide.notes_text_frame.text,
        "workbook": " ".join(f"{heading}: {value}." for heading, value in sheet.values),
        "packet": text_of(packet(material), folder),
    }
    return {name: " ".join(text.split()) for name, text in found.items()}


def taken(client: Client, name: str, issued: IssuedReport) -> Any:
    return client.get(reverse(name, args=[issued.public_id]))


def figures_of_workbook(content: bytes) -> dict[str, tuple[Any, ...]]:
    found = {}
    for sheet in load_workbook(io.BytesIO(content)):
        head, *rows = sheet.values
        if "N" in head:
            for row in rows:
                told = dict(zip(head, row, strict=True))
                found[told["key"]] = tuple(told[name] for name in ("n", "N", "estimate", "lower", "upper"))
    return found


def test_they_hold_the_kept_figures_after_the_logbook_changed(
    book: Logbook, issued: IssuedReport, signer: User, sign_in: Callable[[User], Client]
) -> None:
    client = sign_in(signer)
    before = {name: taken(client, name, issued).content for name in NAMES}
    change_the_logbook(book)
    after = {name: taken(client, name, issued).content for name in NAMES}

    assert before == after
    kept = {figure["key"]: figure for figure in json.loads(issued.content)["figures"]}
    written = figures_of_workbook(after["issued_workbook"])
    assert written
    for key, values in written.items():
        figure = kept[key]
        wanted = [figure[name] for name in ("numerator", "denominator", "estimate", "lower", "upper")]
        assert list(values) == [v if v is None else pytest.approx(v, rel=1e-14) for v in wanted], key


def test_beside_the_kept_figures_stands_what_was_known_then(
    book: Logbook, issued: IssuedReport, signer: User
) -> None:
    then = known_now(issued)
    change_the_logbook(book)
    now, again = known_now(issued), material_for(signer, issued)

    assert again.report == kept_report(issued)
    assert again.trends == then.trends
    assert said(again.compared) == said(then.compared)
    assert again.cases == then.cases
    assert again.cases
    assert again.trends
    assert now.trends != then.trends
    assert said(now.compared) != said(then.compared)
    assert now.cases != then.cases


def test_each_file_holds_the_trends_the_comparison_and_the_cases(
    issued: IssuedReport, signer: User, sign_in: Callable[[User], Client]
) -> None:
    material, client = material_for(signer, issued), sign_in(signer)
    book_of = load_workbook(io.BytesIO(taken(client, "issued_workbook", issued).content))
    document = packet_html(material)

    assert taken(client, "issued_slides", issued).content == slides(material)
    assert {"Quarters", "Routes compared", "For discussion"} < set(book_of.sheetnames)
    assert all(f'id="{id}"' in document for id in ("trends", "comparison", "cases"))


def test_the_last_quarter_of_the_trends_is_that_of_the_kept_report(
    issued: IssuedReport, signer: User
) -> None:
    material = material_for(signer, issued)
    kept = {figure["key"]: figure for figure in json.loads(issued.content)["figures"]}
    charts = {chart.id: chart for chart in material.trends}
    drawn = [
        (kept[f"{measure}/{series.group}/{item}"], series)
        for measure, item, *_ in TRENDS
        for series in charts[f"chart-trend-{measure}".replace(".", "-")].series
    ]

    assert len(drawn) == 2 * len(TRENDS)
    for figure, series in drawn:
        value = figure["numerator"] if figure["unit"] == "count" else figure["estimate"]
        assert (series.x[-1], series.y[-1]) == ("2026-Q3", value)
        assert (series.lower[-1], series.upper[-1]) == (figure["lower"], figure["upper"])
    # So it is by itself, not only as the kept report was put in its place.
    assert known_now(issued).trends == material.trends


def test_each_says_what_was_kept_and_what_was_computed_again(
    issued: IssuedReport, signer: User, tmp_path: Path
) -> None:
    for name, text in texts_of(material_for(signer, issued), tmp_path).items():
        told = text.lower()
        assert (
            f"as signed: the figures of 2026-q3, word for word; software {issued.software_version}." in told
        )
        assert "computed again, not signed: the quarters before, the comparison of the routes and the" in told
        assert "from the history as of the same moment; software" in told, name
        assert "not in this file" not in told


def test_without_the_signed_rows_they_hold_the_kept_figures_alone(
    issued: IssuedReport, signer: User, sign_in: Callable[[User], Client], tmp_path: Path
) -> None:
    write_into_the_history(issued)
    material = material_for(signer, issued)

    assert material.report == kept_report(issued)
    assert (material.trends, material.compared, material.cases_shown) == ((), None, False)
    assert not {"Quarters", "For discussion"} & set(load_workbook(io.BytesIO(workbook(material))).sheetnames)
    for name, text in texts_of(material, tmp_path).items():
        told = text.lower()
        assert "not in this file: the quarters before, the comparison of the routes and the cases" in told
        assert "no longer gives the rows that were signed" in told, name
        assert "computed again" not in told
    assert all(taken(sign_in(signer), name, issued).status_code == 200 for name in NAMES)


@pytest.mark.parametrize(
    ("name", "instead", "reason"),
    [
        ("definitions_version", lambda: "1-other", "definitions have changed, from 1-"),
        ("same_figures", lambda issued, again: False, "computes other figures from the same rows"),
    ],
)
def test_they_hold_the_kept_figures_alone_once_counting_is_another(
    name: str,
    instead: Callable[..., Any],
    reason: str,
    issued: IssuedReport,
    signer: User,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(files, name, instead)
    material = material_for(signer, issued)

    assert (material.trends, material.compared, material.cases_shown) == ((), None, False)
    assert reason in dict(material.origin)["Not in this file"]


def test_each_bears_number_signer_and_fingerprint(
    issued: IssuedReport, signer: User, sign_in: Callable[[User], Client], tmp_path: Path
) -> None:
    client = sign_in(signer)
    deck = Presentation(io.BytesIO(taken(client, "issued_slides", issued).content))
    told = {
        row[0]: row[1]
        for row in load_workbook(io.BytesIO(taken(client, "issued_workbook", issued).content))[
            "Provenance"
        ].values
    }
    printed = text_of(taken(client, "issued_packet", issued).content, tmp_path)
    cover = " ".join(shape.text_frame.text for shape in deck.slides[0].shapes if shape.has_text_frame)

    for text in (cover, " ".join(printed.split())):
        assert "Issue 1" in text
        assert issued.signed_name in text
        assert issued.data_fingerprint in text
    footers = [
        " ".join(shape.text_frame.text for shape in slide.placeholders) for slide in list(deck.slides)[1:]
    ]
    assert all(f"Issue 1, signed by {issued.signed_name}" in text for text in footers)
    assert (told["issue of this period"], told["signed by"]) == (1, issued.signed_name)
    assert told["data fingerprint"] == issued.data_fingerprint
    assert told["statement"] == "I have read it."


def test_issues_of_a_period_are_numbered(book: Logbook, issued: IssuedReport, signer: User) -> None:
    again = issue_it(book, signer)

    assert (issue_number(issued), issue_number(again)) == (1, 2)
    assert issued_period(again) == issued_period(issued)


def test_each_is_noted_and_named_after_its_issue(
    issued: IssuedReport, signer: User, sign_in: Callable[[User], Client]
) -> None:
    answer = taken(sign_in(signer), "issued_packet", issued)

    assert answer.headers["Content-Disposition"] == 'attachment; filename="packet-issue-1-2026-Q3.pdf"'
    assert Download.objects.get().what == "packet-issue-1.pdf"


def test_the_page_leads_to_them(
    issued: IssuedReport, signer: User, sign_in: Callable[[User], Client]
) -> None:
    page = taken(sign_in(signer), "issued_report", issued).content.decode()

    assert all(reverse(name, args=[issued.public_id]) in page for name in NAMES)


def test_the_committee_gets_them_without_small_counts(
    book: Logbook, issued: IssuedReport, sign_in: Callable[[User], Client]
) -> None:
    client = sign_in(create_user(centre=book.centre, username="reader", role="COMMITTEE"))
    written = figures_of_workbook(taken(client, "issued_workbook", issued).content)

    assert written["complications/ALL/SERIOUS/patients"][0] is None
    assert "For discussion" not in taken(client, "issued_slides", issued).content.decode("latin-1")
    assert taken(client, "issued_packet", issued).status_code == 200


def many(book: Logbook) -> None:
    """Enough patients of both routes in two quarters for something to be shown to the committee."""
    for month in ("05", "08"):
        for day in range(1, 15):
            course = book.course()
            route = "AXILLARY_L" if day % 2 else "FEMORAL_R"
            book.run(
                course, f"2026-{month}-{day:02d} 08:00", f"2026-{month}-{day + 6:02d} 08:00", route=route
            )
            book.outcome(course, f"2026-{month}-{day + 6:02d} 09:00")


def test_the_committee_gets_trends_and_comparison_without_small_counts(book: Logbook, signer: User) -> None:
    many(book)
    issued = issue_it(book, signer)
    reader = create_user(centre=book.centre, username="reader", role="COMMITTEE")
    few = book.centre.smallest_cell
    material = material_for(reader, issued)
    compared = material.compared
    then = known_now(issued)

    assert (material.smallest_cell, material.cases, material.cases_shown) == (few, (), False)
    assert material.trends
    assert [report.header.period for report in material.quarters] == ["2026-Q1", "2026-Q2", "2026-Q3"]
    for seen, whole in zip(material.quarters, then.quarters, strict=True):
        assert seen.figures == tuple(
            replace(figure, cases=shown.cases)
            for figure, shown in zip(for_committee(whole, threshold=few).figures, seen.figures, strict=True)
        )
    assert all(y == 0 or y >= few for y in material.trends[0].series[0].y)
    assert compared is not None
    assert (compared.smallest_cell, compared.shown_to) == (few, "the quality committee")
    assert compared.data_cut == last_quarter_end(issued.as_of, book.centre.zone)
    counts = [share.hits for share in compared.shares.values() if share.hits is not None]
    assert counts
    assert all(not 0 < count < few for count in counts)
    assert "the cases for discussion" not in str(material.origin)


def test_others_get_nothing(
    issued: IssuedReport, signer: User, administrator: User, stranger: User, sign_in: Callable[[User], Client]
) -> None:
    for name in NAMES:
        assert taken(sign_in(stranger), name, issued).status_code == 404
        assert taken(sign_in(administrator), name, issued).status_code == 403
        assert taken(Client(), name, issued).status_code == 302
        assert sign_in(signer).post(reverse(name, args=[issued.public_id])).status_code == 405


def test_the_packet_says_that_no_comparison_is_in_it(issued: IssuedReport) -> None:
    document = html.unescape(packet_html(Material(report=kept_report(issued), seal=seal_of(issued))))

    assert "holds no comparison of the routes" in document
    assert 'id="comparison"' not in document


def test_a_report_kept_before_a_measure_existed_still_has_its_page_and_files(issued: IssuedReport) -> None:
    kept = kept_report(issued)
    late = ("baseline", "procedure", "support.early", "support.last", "quality.complete", "quality.events")
    early = replace(
        kept,
        measures=tuple(measure for measure in kept.measures if measure.id not in late),
        figures=tuple(figure for figure in kept.figures if figure.measure not in late),
    )
    material = Material(report=early, seal=seal_of(issued))
    shown = {table.measure.id for table in material.tables.values()}

    assert shown
    assert not shown & set(late)
    assert slides(material)
    assert set(figures_of_workbook(workbook(material))) == {figure.key for figure in early.figures}
    assert 'id="definitions"' in packet_html(material)
