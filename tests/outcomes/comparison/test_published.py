"""The published ranges: each with its sources, inside which it lies."""

from __future__ import annotations

from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.published import LABEL, published_bands


def test_every_band_has_an_outcome_of_ours_and_sources_that_say_what_they_are():
    bands = published_bands()
    assert len({band.endpoint for band in bands}) == len(bands)
    for band in bands:
        assert band.endpoint in BY_CODE
        assert 0.0 < band.low <= band.high < 1.0
        for source in band.sources:
            assert source.period
            assert source.journal
            assert source.title
            assert 1990 < source.year < 2030
            assert source.n or source.period == "review"
            assert source.doi or source.from_memory or source.journal


def test_every_counted_share_lies_in_its_band():
    for band in published_bands():
        for source in band.sources:
            if source.events is not None:
                share = source.events / source.n
                assert band.low - 0.002 <= share <= band.high + 0.002, (band.endpoint, source.text)


def test_no_study_is_shown_route_against_route():
    for band in published_bands():
        titles = [(source.title, source.journal) for source in band.sources]
        assert len(set(titles)) == len(titles), band.endpoint


def test_the_label_claims_nothing():
    assert LABEL == "published range, mixed definitions, not a target"
