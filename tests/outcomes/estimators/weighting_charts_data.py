"""Published values and data tables behind the tests of balance, weighting and charts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).parent
PUBLISHED: dict[str, dict[str, Any]] = json.loads(
    (HERE / "published_weighting_charts.json").read_text(encoding="utf-8")
)


def table(name: str):
    import pandas as pd  # only here: the timed runs must not load it

    return pd.read_csv(HERE / "data" / name)


def nhefs_terms(data) -> np.ndarray:
    """Covariates of the published propensity model: education, exercise and active by level."""
    import pandas as pd

    levels = pd.get_dummies(
        data[["education", "exercise", "active"]].astype(str), drop_first=True, dtype=float
    )
    squares = data[["age", "smokeintensity", "smokeyrs", "wt71"]]
    plain = data[["sex", "race", "age", "smokeintensity", "smokeyrs", "wt71"]]
    return np.column_stack([plain, squares**2, levels])


def two_route_data(rows: int, seed: int, columns: int = 3):
    """Invented rows: outcome, arm, covariates, patient (some patients twice)."""
    random = np.random.default_rng(seed)
    covariates = random.normal(size=(rows, columns))
    arm = random.random(rows) < 1.0 / (1.0 + np.exp(-0.7 * covariates[:, 0]))
    outcome = random.random(rows) < 1.0 / (1.0 + np.exp(1.0 - 0.5 * covariates[:, 0] - 0.4 * arm))
    patient = random.integers(0, max(2, int(rows * 0.8)), rows)
    return outcome.astype(float), arm, covariates, patient
