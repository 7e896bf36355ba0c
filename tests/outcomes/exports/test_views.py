"""Files to take along: who gets them, what they are called, and that each one is noted."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook

from registry.models import Download, User
from tests.factories import create_user
from tests.outcomes.builder import Logbook

PERIOD = {"period": "2026-Q3"}


@pytest.fixture
def desk_of(book: Logbook, sign_in: Callable[[User], Client]) -> Callable[[str], Client]:
    """A client of a role at the centre of the logbook."""
    return lambda role: sign_in(create_user(centre=book.centre, username=role.lower(), role=role))


@pytest.mark.parametrize(
    ("name", "args", "file", "start"),
    [
        ("quarter_slides", [], "slides-2026-Q3.pptx", b"PK"),
        ("quarter_packet", [], "packet-2026-Q3.pdf", b"%PDF"),
        ("quarter_workbook", [], "workbook-2026-Q3.xlsx", b"PK"),
        ("figure_svg", ["chart-dwell"], "chart-dwell-2026-Q3.svg", b"<?xml"),
        ("figure_png", ["chart-dwell"], "chart-dwell-2026-Q3.png", b"\x89PNG"),
        ("quarter_table", ["table-dwell-run"], "table-dwell-run-2026-Q3.csv", b"\xef\xbb\xbf"),
    ],
)
def test_a_file_is_handed_out_and_noted(
    desk_of: Callable[[str], Client], name: str, args: list[str], file: str, start: bytes
) -> None:
    response = desk_of("PHYSICIAN").get(reverse(name, args=args), PERIOD)

    assert response.status_code == 200
    assert response.headers["Content-Disposition"] == f'attachment; filename="{file}"'
    assert response.content.startswith(start)
    noted = Download.objects.get()
    assert (noted.by.username, noted.what, noted.period) == (
        "physician",
        file.replace("-2026-Q3", ""),
        "2026-Q3",
    )


@pytest.mark.parametrize("name", ["quarter_slides", "quarter_packet", "quarter_workbook"])
def test_the_committee_takes_files_without_curves(desk_of: Callable[[str], Client], name: str) -> None:
    client = desk_of("COMMITTEE")

    assert client.get(reverse(name), PERIOD).status_code == 200
    assert client.get(reverse("figure_svg", args=["chart-dwell"]), PERIOD).status_code == 404


def test_only_those_of_the_logbook_get_single_cases(desk_of: Callable[[str], Client]) -> None:
    sheets = {
        role: load_workbook(
            io.BytesIO(desk_of(role).get(reverse("quarter_workbook"), PERIOD).content)
        ).sheetnames
        for role in ("COMMITTEE", "PHYSICIAN")
    }

    assert "For discussion" in sheets["PHYSICIAN"]
    assert "For discussion" not in sheets["COMMITTEE"]


@pytest.mark.parametrize(
    ("name", "id"), [("figure_svg", "nothing"), ("figure_png", "table-dwell-run"), ("quarter_table", "x")]
)
def test_what_is_not_there_is_not_noted(desk_of: Callable[[str], Client], name: str, id: str) -> None:
    assert desk_of("PHYSICIAN").get(reverse(name, args=[id]), PERIOD).status_code == 404
    assert not Download.objects.exists()


def test_a_period_that_is_none_gives_no_file(desk_of: Callable[[str], Client]) -> None:
    response = desk_of("PHYSICIAN").get(reverse("quarter_slides"), {"period": "soon"})

    assert response.status_code == 422
    assert not Download.objects.exists()


def test_the_page_links_to_every_file(desk_of: Callable[[str], Client]) -> None:
    page = desk_of("PHYSICIAN").get(reverse("quarter"), PERIOD)
    text = page.content.decode()

    for name in ("quarter_slides", "quarter_packet", "quarter_workbook"):
        assert f"{reverse(name)}?period=2026-Q3" in text
    assert f"{reverse('figure_png', args=['chart-dwell'])}?period=2026-Q3" in text
    assert f"{reverse('quarter_table', args=['table-dwell-run'])}?period=2026-Q3" in text


def test_a_note_cannot_be_changed_or_removed(desk_of: Callable[[str], Client]) -> None:
    desk_of("PHYSICIAN").get(reverse("figure_svg", args=["chart-dwell"]), PERIOD)

    with pytest.raises(DatabaseError), transaction.atomic():
        Download.objects.update(what="other")
    with pytest.raises(DatabaseError), transaction.atomic():
        Download.objects.get().delete()


@pytest.mark.parametrize("section", ["trends", "routes"])
def test_sections_beside_the_quarter_stand_by_themselves(
    section: str, desk_of: Callable[[str], Client]
) -> None:
    client = desk_of("PHYSICIAN")
    page = client.get(reverse("quarter"), PERIOD).content.decode()
    answer = client.get(reverse("quarter_section", args=[section]), PERIOD)
    shown = answer.content.decode()

    assert f'data-later="#{section}"' in page
    assert answer.status_code == 200
    assert f'<section class="section" id="{section}"' in shown
    charts = [part["chart"].id for part in answer.context["section"]["parts"]]
    assert charts == (["chart-routes"] if section == "routes" else charts)
    assert len(charts) == (1 if section == "routes" else 4)
    for id in charts:
        assert client.get(reverse("figure_svg", args=[id]), PERIOD).status_code == 200


def test_the_forest_is_hedged_on_the_page(desk_of: Callable[[str], Client]) -> None:
    page = desk_of("PHYSICIAN").get(reverse("quarter_section", args=["routes"]), PERIOD).content.decode()

    assert "Routes were chosen for patients, not drawn by lot" in page
    assert "Not adjusted" in page


def test_a_year_has_no_quarters_before(desk_of: Callable[[str], Client]) -> None:
    client = desk_of("PHYSICIAN")

    assert client.get(reverse("quarter_section", args=["trends"]), {"period": "2026"}).status_code == 404
    assert client.get(reverse("quarter_section", args=["nothing"]), PERIOD).status_code == 404
    assert 'data-later="#trends"' not in client.get(reverse("quarter"), {"period": "2026"}).content.decode()


def test_the_committee_sees_no_small_count_in_them(desk_of: Callable[[str], Client]) -> None:
    client = desk_of("COMMITTEE")
    trends = client.get(reverse("quarter_section", args=["trends"]), PERIOD)
    routes = client.get(reverse("quarter_section", args=["routes"]), PERIOD)

    assert trends.context["section"]["parts"] == []
    assert routes.context["section"]["parts"] == []
    assert "too small for its size to be shown" in routes.content.decode()
