"""Examples and data sets of time to event; ``published_times.json`` gives the source and standing of each."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import settings
from hypothesis import strategies as st

from outcomes.estimators.tally import Tally, tally_exits

HERE = Path(__file__).parent
EXAMPLES: dict[str, Any] = json.loads((HERE / "published_times.json").read_text(encoding="utf-8"))
PROPERTY = settings(deadline=None, max_examples=50)


def published(name: str) -> Any:
    return EXAMPLES[name]["published"]


def inputs(name: str) -> Any:
    return EXAMPLES[name]["inputs"]


def near(name: str, expected: Any) -> Any:
    """The expected number or numbers, to the digits the source gives."""
    return pytest.approx(expected, abs=EXAMPLES[name]["tolerance"], rel=0)


def table(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / "data" / name)


def grouped(name: str, time: str, cause: str, group: str) -> Tally:
    """A data set as a tally, its groups in sorted order of their labels."""
    rows = table(name)
    labels, codes = np.unique(rows[group].astype(str), return_inverse=True)
    return tally_exits(rows[time], rows[cause], group=codes, groups=[str(label) for label in labels])


def leukaemia() -> Tally:
    return grouped("leukemia_6mp.csv", "weeks", "event", "arm")


def aml() -> Tally:
    return grouped("aml.csv", "weeks", "event", "arm")


def marrow() -> Tally:
    return grouped("klein_moeschberger_bmt137.csv", "t2_days", "status_1relapse_2death", "group")


def two_arms() -> Tally:
    return grouped("marubini_valsecchi_t10_1.csv", "weeks", "status", "arm")


def scrucca() -> Tally:
    return grouped("bmtcrr.csv", "ftime", "Status", "D")


def mgus() -> Tally:
    return grouped("mgus2_cr.csv", "months", "status_1pcm_2death", "sex")


def invented_runs(rows: int, seed: int, *, late: bool = False, spread: int = 40) -> dict[str, np.ndarray]:
    """Invented, heavily tied rows: entry, exit, cause (0..3), group (0..2)."""
    random = np.random.default_rng(seed)
    exit = random.integers(1, spread, rows)
    entry = (
        np.where(random.random(rows) < 0.4, random.integers(0, spread, rows) % exit, 0) if late else 0 * exit
    )
    return {
        "entry": entry,
        "exit": exit,
        "cause": random.integers(0, 4, rows),
        "group": np.append([0, 1, 2], random.integers(0, 3, rows - 3)),
    }


@st.composite
def followed_rows(draw: st.DrawFn, *, late: bool = True) -> dict[str, np.ndarray]:
    """Up to 25 rows with ties, events at time zero and, if wanted, delayed entry."""
    size = draw(st.integers(1, 25))
    exit = np.array(draw(st.lists(st.integers(0, 12), min_size=size, max_size=size)))
    cause = np.array(draw(st.lists(st.integers(0, 3), min_size=size, max_size=size)))
    entry = np.zeros(size, dtype=int)
    if late:
        asked = np.array(draw(st.lists(st.integers(-1, 11), min_size=size, max_size=size)))
        entry = np.where(asked < exit, asked, 0)
    return {"exit": exit, "cause": cause, "entry": entry}
