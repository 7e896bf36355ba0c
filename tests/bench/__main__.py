"""Run the benchmark and write docs/performance.md.

python -m tests.bench [RUNS ...]      default: 200 10000 100000 1000000
"""

from __future__ import annotations

import json
import os
import platform
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from tests.bench import page
from tests.bench.contender import folder
from tests.bench.loading import ROOT

SIZES = (200, 10_000, 100_000, 1_000_000)
WORDS = Path(__file__).with_name("words.md")
EXACT, WITH_JITTER = 1e-9, 5e-3
JITTERED = ("mobilisation.course", "bridge")
RESAMPLING = 0.25  # of the width of the limits: two bootstraps with different draws
IMPORTS = ("numpy", "scipy.special", "outcomes.estimators")


def run(module: str, *arguments: str, **environment: str) -> str:
    command = [sys.executable, "-m", f"tests.bench.{module}", *arguments]
    done = subprocess.run(
        command, cwd=ROOT, env={**os.environ, **environment}, stdout=subprocess.PIPE, text=True, check=True
    )
    return done.stdout


def measured(runs: int) -> dict[str, Any]:
    """Load one size and let both contenders and R run on it."""
    if os.environ.get("BENCH_LOADED") != str(runs):  # a million rows take a quarter of an hour to load
        print(f"{runs:,} runs: {run('loads', str(runs)).strip()}", flush=True)
    ours = json.loads(run("contender", "ours", str(runs)))
    analyst = json.loads(run("contender", "analyst", str(runs), BENCH_CUT=ours["cut"]))
    return {"ours": ours, "analyst": analyst, "r": against_r()}


def against_r() -> dict[str, Any] | None:
    if not shutil.which("Rscript"):
        return None
    try:
        return json.loads(run("against_r"))
    except subprocess.CalledProcessError:
        print("R is there, but its package cmprsk is not, or it disagrees: left out", flush=True)
        return None


def check(runs: int, result: dict[str, Any]) -> int:
    """Hold every figure of the script to ours; how many there are.

    A tie that the script's jitter takes apart weighs more among few: about one in a hundred of 200 runs.
    """
    mine, jitter = result["ours"]["figures"], max(WITH_JITTER, 2 / runs)
    for key, theirs in result["analyst"]["figures"].items():
        tolerance = jitter if key.split("/")[0] in JITTERED else EXACT
        for place, (found, known) in enumerate(zip(theirs, mine[key], strict=True)):
            if found is None:
                continue
            allowed = tolerance * max(1.0, abs(known))
            if key == "weighted ratio" and place > 1:
                allowed = RESAMPLING * (mine[key][3] - mine[key][2]) if result["ours"]["refitted"] else 9.9
            if abs(found - known) > allowed:
                raise SystemExit(f"{key}: the script says {found}, ours {known}")
    return len(result["analyst"]["figures"])


def scale_slow_steps(results: dict[int, dict[str, Any]]) -> None:
    """What the script did not run at a size is taken as ten times that of the size before."""
    sizes = sorted(results)
    for small, large in pairwise(sizes):
        costs = results[large]["analyst"]["costs"]
        for name in page.SCALED:
            if name not in costs:
                before = results[small]["analyst"]["costs"][name]
                costs[name] = {part: seconds * large / small for part, seconds in before.items()}
                results[large]["analyst"]["scaled"] = True


def imports() -> str:
    """Processor time of imports in fresh processes, the best of nine."""
    rows = []
    for name in IMPORTS:
        program = f"import time; import {name}; print(time.process_time())"
        if name == "outcomes.estimators":
            program = (
                "import importlib, pkgutil, time; import outcomes.estimators as e; "
                "names = [module.name for module in pkgutil.iter_modules(e.__path__)]; "
                "[importlib.import_module(f'{e.__name__}.{name}') for name in names]; "
                "print(time.process_time())"
            )
            name = "all of outcomes.estimators"
        times = [float(subprocess.check_output([sys.executable, "-c", program], cwd=ROOT)) for _ in range(9)]
        rows.append([f"`{name}`" if " " not in name else name, page.shown(min(times))])
    bare = [
        float(subprocess.check_output([sys.executable, "-c", "import time; print(time.process_time())"]))
        for _ in range(9)
    ]
    return page.table(["Import", "Processor time"], [["the interpreter alone", page.shown(min(bare))], *rows])


def r_words(results: dict[int, dict[str, Any]]) -> str:
    known = {runs: result["r"] for runs, result in results.items() if result["r"]}
    if not known:
        return ""
    rows = [
        [
            f"{runs:,}",
            f"{r['courses']:,}",
            page.shown(r["r"]),
            page.shown(r["ours"]),
            f"{r['r'] / r['ours']:,.1f}×",
        ]
        for runs, r in known.items()
    ]
    head = ["Runs", "Courses", "R: `cuminc`", "Ours, with limits", "Ratio"]
    return (
        "Against compiled code, R's `cmprsk::cuminc`: Aalen-Johansen curves of six causes by two routes and "
        "six Gray's tests, the estimates and statistics held to each other in the same run.\n\n"
        + page.table(head, rows)
    )


def machine() -> str:
    try:
        text = Path("/proc/cpuinfo").read_text(encoding="utf-8")
        model = next(
            line.split(":")[1].strip() for line in text.splitlines() if line.startswith("model name")
        )
    except (OSError, StopIteration):
        model = platform.processor() or platform.machine()
    return f"{model}, {os.cpu_count()} processors"


def main() -> None:
    sizes = [int(text) for text in sys.argv[1:]] or list(SIZES)
    folder().mkdir(parents=True, exist_ok=True)
    for runs in sizes:
        result = measured(runs)
        kept(runs).write_text(json.dumps(result), encoding="utf-8")
        print(f"{runs:,} runs: {check(runs, result)} figures agree", flush=True)
    write_page(
        {runs: json.loads(kept(runs).read_text(encoding="utf-8")) for runs in SIZES if kept(runs).exists()}
    )


def kept(runs: int) -> Path:
    """Where the result of a size stays, so that sizes can be measured one after the other."""
    return folder() / f"result-{runs}.json"


def write_page(results: dict[int, dict[str, Any]]) -> None:
    scale_slow_steps(results)
    one = next(iter(results.values()))
    text = WORDS.read_text(encoding="utf-8").format(
        machine=machine(),
        load=f"{os.getloadavg()[2]:.1f}",
        python=platform.python_version(),
        postgres=one["ours"]["postgres"],
        day=f"{datetime.now(UTC):%d-%b-%Y}",
        compared=len(one["analyst"]["figures"]),
        figures=one["ours"]["count"],
        curves=one["ours"]["curves"],
        tolerance="0.005 (at 200 runs to 0.01)",
        budgets=page.budgets(results),
        against=page.against_the_analyst(results),
        steps=page.steps_of_the_script(results),
        r=r_words(results),
        extraction=page.extraction(results),
        memory=page.memory(results),
        imports=imports(),
    )
    (ROOT / "docs" / "performance.md").write_text(text, encoding="utf-8")
    print("Written: docs/performance.md")


if __name__ == "__main__":
    main()
