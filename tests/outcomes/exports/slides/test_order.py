"""The slides in their order."""

from __future__ import annotations

from outcomes.exports.slides.order import ORDER, ordered


def test_a_committee_sees_data_quality_right_after_the_figures_at_a_glance() -> None:
    names = [tell.__name__ for tell in ordered(quality_first=True)]
    assert names[:3] == ["cover", "glance", "quality"]
    assert sorted(names) == sorted(tell.__name__ for tell in ORDER)
    assert ordered(quality_first=False) == ORDER
