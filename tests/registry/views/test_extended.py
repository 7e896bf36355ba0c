"""Screening, pressures and the waiting list: recorded on pages of their own, read with the case."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.models import HaemodynamicSet, ListingSpell, Run, Screening
from tests.factories import create_screening
from tests.pages import fill

pytestmark = pytest.mark.django_db


def test_a_screening(desk: Client, run: Run) -> None:
    url = reverse("new_screening", args=[run.course.public_id])
    data = fill(
        desk, url, new__route_reason=["MOBILITY"], new__imaging=["CT_ANGIO"], new__axillary_lumen_mm="7.5"
    )
    assert desk.post(url, data).status_code == 302
    assert Screening.objects.get().route_reason == ["MOBILITY"]
    page = desk.get(reverse("case", args=[run.course.public_id])).content.decode()
    assert "7.5 mm" in page
    assert "To walk" in page


def test_there_is_one_screening_a_course(desk: Client, run: Run) -> None:
    known = create_screening(course=run.course)
    response = desk.get(reverse("new_screening", args=[run.course.public_id]))
    assert response.headers["Location"] == reverse("correct", args=["screening", known.public_id])


def test_pressures_are_shown_with_what_follows_from_them(desk: Client, run: Run) -> None:
    url = reverse("new_haemodynamics", args=[run.course.public_id])
    values = {"measured_at": "y 0800", "on_support": "IABP", "mean_mmhg": "60", "output_l_min": "3.6",
              "output_method": "THERMODILUTION", "right_atrial_mmhg": "15"}  # fmt: skip
    data = fill(desk, url, **{f"new__{name}": value for name, value in values.items()})
    assert desk.post(url, data).status_code == 302
    assert HaemodynamicSet.objects.get().mean_mmhg == 60
    page = desk.get(reverse("case", args=[run.course.public_id])).content.decode()
    assert "Cardiac power <span" in page
    assert '<td class="num">0.48</td>' in page  # 60 * 3.6 / 451
    assert "mean pressure (measured) × output / 451" in page


def test_a_new_set_says_what_was_on(desk: Client, run: Run) -> None:
    url = reverse("new_haemodynamics", args=[run.course.public_id])
    response = desk.post(url, fill(desk, url, new__measured_at="y 0800", new__mean_mmhg="60"))
    assert response.status_code == 422


def test_a_tier_may_expire_in_the_future(desk: Client, run: Run) -> None:
    url = reverse("new_listing", args=[run.course.public_id])
    day = timezone.localdate() + timedelta(days=13)
    data = fill(desk, url, new__tier="2", new__began_on="t", new__expires_on=f"{day:%d-%b-%Y}")
    assert desk.post(url, data).status_code == 302
    assert ListingSpell.objects.get().expires_on == day
