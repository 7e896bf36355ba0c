"""Files of an issued report: the kept figures with their seal, whatever the logbook says by now."""

from __future__ import annotations

import html
import io
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook
from pptx import Presentation

from outcomes.exports.material import Material
from outcomes.exports.packet import packet_html
from outcomes.exports.slides import slides
from outcomes.exports.workbook import workbook
from outcomes.issuing import issue, kept_report, settled_moment
from outcomes.issuing.files import seal_of
from outcomes.issuing.issue import issue_number, issued_period
from outcomes.period import Period
from registry.models import Download, Event, IssuedReport, User
from tests.factories import create_user
from tests.outcomes.builder import Logbook
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
    """A kept event goes, a new course comes."""
    Event.objects.filter(kind="LIMB").delete()
    course = book.course()
    book.run(course, "2026-08-10 09:00", "2026-08-12 09:00")


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


def test_they_are_the_files_of_the_kept_report_and_nothing_else(
    issued: IssuedReport, signer: User, sign_in: Callable[[User], Client]
) -> None:
    material = Material(report=kept_report(issued), seal=seal_of(issued))
    client = sign_in(signer)

    assert taken(client, "issued_slides", issued).content == slides(material)
    assert taken(client, "issued_workbook", issued).content == workbook(material)
    assert material.compared is None
    assert material.trends == ()


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
