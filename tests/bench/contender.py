"""One contender on one size, in a process of its own: prints what it cost and found as JSON.

python -m tests.bench.contender ours|analyst RUNS
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"  # before NumPy is imported

from tests.bench import loading, measuring  # noqa: E402

RESAMPLES = 1_000
# The analyst's resamples are timed on fewer above these sizes, and scaled.
TIMED_RESAMPLES = {200: 200, 10_000: 40, 100_000: 6}
SLOW_STEPS = ("mobilisation", "bridge")  # not run at a million, nor resamples: minutes to hours
ALL_STEPS_UP_TO = 100_000


def arrays(runs: int) -> dict[str, Any]:
    """What the weighted comparison needs, as written by the generator."""
    import numpy as np

    return dict(np.load(folder() / f"contrast-{runs}.npz"))


def folder() -> Path:
    return Path(os.environ.get("BENCH_DIR", str(loading.FOLDER)))


def ours(runs: int) -> dict[str, Any]:
    started = time.process_time()
    loading.set_up()
    from django.db import connection

    from outcomes.dataset import load_dataset
    from outcomes.estimators.weighting import compare_weighted, interval_method
    from outcomes.period import Period
    from outcomes.report import build_report
    from registry.models import Centre

    centres = list(Centre.objects.all())
    costs: dict[str, Any] = {"import and connect": measuring.Cost(0.0, time.process_time() - started)}
    times = 5 if runs <= 10_000 else 3
    costs["extract"], data = measuring.cost_of(
        lambda: load_dataset(centres=centres), times=times, server=folder()
    )
    period = Period.parse(f"{data.cut_at.year - 4}..{data.cut_at.year}", data.zone)
    costs["report"], report = measuring.cost_of(
        lambda: build_report(dataset=data, period=period), times=times
    )
    peak = measuring.peak_mb()
    contrast = arrays(runs)
    for name, interval in (("closed form", "closed form"), ("refitted", "converged refit")):
        if name == "refitted":
            interval = interval_method(runs)
            interval = "two-step refit" if interval == "closed form" else interval
            if runs > ALL_STEPS_UP_TO:
                continue
        costs[f"weighted, {name}"], compared = measuring.cost_of(
            lambda kind=interval: compare_weighted(
                contrast["outcome"], contrast["treated"], contrast["covariates"], contrast["patient"],
                kind="overlap", seed=1, interval=kind, resamples=RESAMPLES,
            ),
            times=3 if runs <= 10_000 or name != "refitted" else 1,
        )  # fmt: skip
    figures = {f.key: (f.numerator, f.estimate, f.lower, f.upper) for f in report.figures}
    ratio = compared.ratio
    figures["weighted ratio"] = (None, ratio.value, ratio.lower, ratio.upper)
    return result(
        costs, figures, peak, cut=data.cut_at.isoformat(), count=len(report.figures),
        curves=len(report.curves), refitted="weighted, refitted" in costs,
        postgres=connection.pg_version // 10_000,
    )  # fmt: skip


def analyst(runs: int) -> dict[str, Any]:
    started = time.process_time()
    loading.set_up()
    import numpy as np
    import pandas as pd
    from django.db import connection

    from tests.bench import analyst as script

    connection.ensure_connection()
    costs: dict[str, Any] = {"import and connect": measuring.Cost(0.0, time.process_time() - started)}
    costs["extract"], tables = measuring.cost_of(
        lambda: script.extract(connection.connection), server=folder()
    )
    cut = pd.Timestamp(os.environ["BENCH_CUT"]).tz_convert("UTC").floor("min")
    costs["derive"], data = measuring.cost_of(lambda: script.derive(tables, cut))
    figures: dict[str, Any] = {}
    for name, step in script.STEPS.items():
        if runs <= ALL_STEPS_UP_TO or name not in SLOW_STEPS:
            costs[name], found = measuring.cost_of(lambda step=step: step(data))
            figures |= found
    peak = measuring.peak_mb()
    if runs > ALL_STEPS_UP_TO:
        return result(costs, figures, peak)
    contrast = arrays(runs)
    resamples = TIMED_RESAMPLES[runs]
    cost, ratios = measuring.cost_of(lambda: script.weighted_ratio(**contrast, resamples=resamples, seed=1))
    scale = (RESAMPLES + 1) / (resamples + 1)
    costs["weighted, refitted"] = measuring.Cost(cost.wall * scale, cost.cpu * scale)
    low, high = np.quantile(ratios[1:], [0.025, 0.975]).tolist()
    figures["weighted ratio"] = (None, float(ratios[0]), low, high)
    return result(costs, figures, peak, resamples=resamples)


def result(
    costs: dict[str, measuring.Cost], figures: dict[str, Any], peak: float, **more: Any
) -> dict[str, Any]:
    plain = {name: cost.plain() for name, cost in costs.items()}
    return {"costs": plain, "figures": figures, "peak_mb": peak, **more}


if __name__ == "__main__":
    contender = {"ours": ours, "analyst": analyst}[sys.argv[1]]
    print(json.dumps(contender(int(sys.argv[2])), default=float))
