"""Aalen-Johansen curves and Gray's tests of all causes by two routes, here and in R, in one process each.

    python -m tests.bench.against_r

R and its package cmprsk (Debian: r-cran-cmprsk) are not part of the project; without them this is left out.
"""

from __future__ import annotations

import csv
import json
import subprocess
from pathlib import Path

from tests.bench import contender, loading, measuring

SCRIPT = Path(__file__).with_name("incidence.R")
DAYS = (7, 14, 30, 60, 90)


def main() -> None:
    loading.set_up()
    import numpy as np

    from outcomes.dataset import load_dataset
    from outcomes.estimators.competing import cumulative_incidence, gray_test
    from outcomes.estimators.tally import tally_exits
    from outcomes.measures.bridge import CAUSES, ways_out
    from outcomes.measures.scope import Scope
    from outcomes.period import Period
    from registry.models import Centre

    data = load_dataset(centres=Centre.objects.all())
    period = Period.parse(f"{data.cut_at.year - 4}..{data.cut_at.year}", data.zone)
    end, cause = ways_out(Scope(data, period, 0.95))
    exit, group = end - data.courses.began, data.courses.route

    def compute():
        tally = tally_exits(exit, cause, group=group, groups=("AXILLARY", "FEMORAL"), causes=len(CAUSES))
        curves = [cumulative_incidence(tally, group=name) for name in tally.groups]
        return curves, [gray_test(tally, cause=number) for number in range(1, len(CAUSES) + 1)]

    cost, (curves, tests) = measuring.cost_of(compute, times=3)
    place = contender.folder() / "incidence.csv"
    np.savetxt(
        place,
        np.column_stack([exit, cause, group]),
        fmt="%d",
        delimiter=",",
        header="time,cause,group",
        comments="",
    )
    answer = place.with_name("incidence-r.csv")
    subprocess.run(["Rscript", str(SCRIPT), str(place), str(answer)], check=True)
    known = {name: float(value) for name, value in csv.reader(answer.open()) if value != "NA"}
    for number, test in enumerate(tests, start=1):
        np.testing.assert_allclose(test.statistic, known[f"gray {number}"], rtol=1e-6)
    for number, curve in enumerate(curves):
        for which in range(len(CAUSES)):
            for point in curve.causes[which].at(day * 1440 for day in DAYS):
                there = known.get(f"{number} {which + 1} day {point.time / 1440:g}", point.value)
                np.testing.assert_allclose(point.value, there, rtol=1e-7, atol=1e-9)
    print(json.dumps({"courses": exit.size, "ours": cost.cpu, "r": known["seconds"]}))


if __name__ == "__main__":
    main()
