"""The rows of the extract: ages in bands, the year of the centre, and a wrong year of birth among them."""

from __future__ import annotations

import pytest

from outcomes.extract import build_extract
from outcomes.extract.build import ALL, UNKNOWN_AGE, age_band
from outcomes.extract.files import as_csv
from registry.models import Patient
from tests.outcomes.builder import Logbook


@pytest.mark.parametrize(("age", "width", "band"), [
    (0, 10, "0-9"), (9, 10, "0-9"),
    (69, 10, "60-69"), (69, 20, "60-79"), (89, 20, "80-89"), (89, 10, "80-89"),
    (90, 10, "90+"), (126, 20, "90+"), (-1, 10, UNKNOWN_AGE), (-30, 20, UNKNOWN_AGE),
])  # fmt: skip
def test_bands(age: int, width: int, band: str) -> None:
    """45 CFR 164.514(b)(2)(i)(C): all ages over 89 in one group."""
    assert age_band(age, width) == band


def ended(book: Logbook, *days: str, birth_year: int = 1970) -> None:
    for day in days:
        patient = book.patient()
        Patient.objects.filter(pk=patient.pk).update(birth_year=birth_year)
        patient.refresh_from_db()
        book.run(book.course(patient), f"{day} 00:30", f"{day} 18:30")


@pytest.mark.django_db
def test_the_year_is_that_of_the_centre() -> None:
    """Half an hour into the year in Berlin it is still the year before, and the patient younger, in UTC."""
    book = Logbook()
    ended(book, "2024-01-01", birth_year=1974)
    ((_, row),) = build_extract(centre=book.centre, smallest_group=1).rows
    assert (row.year, row.age) == ("2024", "50-59")


@pytest.mark.django_db
@pytest.mark.parametrize("smallest_group", [1, 2, 6])
def test_a_birth_after_the_insertion_takes_nothing_down(smallest_group: int) -> None:
    book = Logbook()
    ended(book, *(f"2024-03-{day:02d}" for day in range(1, 6)))
    ended(book, "2024-03-09", birth_year=2025)
    extract = build_extract(centre=book.centre, smallest_group=smallest_group)
    ages = sorted(row.age for _, row in extract.rows)
    assert ages == (["50-59"] * 5 + [UNKNOWN_AGE] if smallest_group == 1 else [ALL] * 6)
    assert len(as_csv(extract).splitlines()) == 7
