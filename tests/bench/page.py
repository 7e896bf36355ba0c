"""The page of the benchmark, from what the contenders printed."""

from __future__ import annotations

from itertools import pairwise
from math import log10
from typing import Any

STEPS = {
    "volumes": "volumes, device-days",
    "complications": "complications, 16 kinds × 3 groups",
    "run dwell": "Kaplan-Meier of run dwell",
    "mobilisation": "Aalen-Johansen of mobilisation, 6 curves",
    "bridge": "Aalen-Johansen of outcomes, 18 curves",
    "repositions over time": "mean cumulative function",
}
SCALED = ("mobilisation", "bridge", "weighted, refitted")
BUDGETS = (
    (200, "report with 1,000 refitted resamples, warm", 0.150, ("report", "weighted, refitted")),
    (10_000, "report without resampling, warm", 0.100, ("report", "weighted, closed form")),
    (10_000, "report with 1,000 refitted resamples, warm", 1.5, ("report", "weighted, refitted")),
    (100_000, "from PostgreSQL, closed form", 1.5, ("extract", "report", "weighted, closed form")),
    (1_000_000, "from PostgreSQL, closed form", 12.0, ("extract", "report", "weighted, closed form")),
)
MEMORY_BUDGETS = {100_000: 250, 1_000_000: 800}


def work(result: dict[str, Any], *names: str) -> float:
    """Processor seconds of the steps, the server's included."""
    return sum(result["costs"][name]["cpu"] + result["costs"][name]["server"] for name in names)


def clock(result: dict[str, Any], *names: str) -> float:
    """Seconds that somebody waits for the steps."""
    return sum(result["costs"][name]["wall"] for name in names)


def shown(seconds: float) -> str:
    return f"{seconds * 1000:,.0f} ms" if seconds < 1 else f"{seconds:,.1f} s"


def table(head: list[str], rows: list[list[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def against_the_analyst(results: dict[int, dict[str, Any]]) -> str:
    """Seconds of both at each size, and how many times longer the analyst's script takes."""
    head = ["Step", *(f"{runs:,} runs: script / ours" for runs in results)]
    rows = [
        ["reading from PostgreSQL", *(pair(r, ("extract",), ("extract",)) for r in results.values())],
        ["the whole report", *(report_pair(r) for r in results.values())],
        ["weighted comparison, 1,000 refits",
         *(pair(r, ("weighted, refitted",), ("weighted, refitted",)) for r in results.values())],
        ["weighted comparison, closed form",
         *(f"– / {shown(work(r['ours'], 'weighted, closed form'))}" for r in results.values())],
    ]  # fmt: skip
    return table(head, rows)


def pair(result: dict[str, Any], theirs: tuple[str, ...], mine: tuple[str, ...]) -> str:
    script = work(result["analyst"], *theirs)
    if any(name not in result["ours"]["costs"] for name in mine):
        return f"{shown(script)}† / not run"
    own = work(result["ours"], *mine)
    mark = "†" if theirs == ("weighted, refitted",) else ""
    return f"{shown(script)}{mark} / {shown(own)} = {script / own:,.0f}×"


def report_pair(result: dict[str, Any]) -> str:
    steps = ["derive", *STEPS]
    script, own = work(result["analyst"], *steps), work(result["ours"], "report")
    mark = "‡" if result["analyst"].get("scaled") else ""
    return f"{shown(script)}{mark} / {shown(own)} = {script / own:,.0f}×"


def steps_of_the_script(results: dict[int, dict[str, Any]]) -> str:
    rows = []
    for name, words in {"derive": "joining, filling", **STEPS}.items():
        cells = []
        for result in results.values():
            mark = "‡" if result["analyst"].get("scaled") and name in SCALED else ""
            cells.append(shown(work(result["analyst"], name)) + mark)
        rows.append([words, *cells])
    return table(["Step of the script", *(f"{runs:,}" for runs in results)], rows)


def extraction(results: dict[int, dict[str, Any]]) -> str:
    rows = []
    for runs, result in results.items():
        cost = result["ours"]["costs"]["extract"]
        rows.append([f"{runs:,}", shown(cost["server"]), shown(cost["cpu"]), shown(cost["wall"])])
    return table(["Runs", "Server", "Client", "By the clock"], rows)


def memory(results: dict[int, dict[str, Any]]) -> str:
    rows = [
        [f"{runs:,}", f"{r['analyst']['peak_mb']:,.0f} MB", f"{r['ours']['peak_mb']:,.0f} MB"]
        for runs, r in results.items()
    ]
    return table(["Runs", "Script", "Ours"], rows)


def budgets(results: dict[int, dict[str, Any]]) -> str:
    rows = []
    for runs, words, budget, names in BUDGETS:
        if runs in results:
            took, spent = clock(results[runs]["ours"], *names), work(results[runs]["ours"], *names)
            rows.append([f"{runs:,}", words, shown(budget), shown(took), shown(spent), met(took <= budget)])
    for runs, budget in MEMORY_BUDGETS.items():
        if runs in results:
            held = results[runs]["ours"]["peak_mb"]
            rows.append(
                [f"{runs:,}", "peak memory", f"{budget} MB", f"{held:,.0f} MB", "", met(held <= budget)]
            )
    sizes = sorted(runs for runs in results if runs >= 10_000)
    for small, large in pairwise(sizes):
        names = ("extract", "report", "weighted, closed form")
        grown, spent = (
            log10(part(results[large]["ours"], *names) / part(results[small]["ours"], *names))
            / log10(large / small)
            for part in (clock, work)
        )
        what = f"growth exponent from {small:,}"
        rows.append([f"{large:,}", what, "1.2", f"{grown:.2f}", f"{spent:.2f}", met(grown <= 1.2)])
    return table(["Runs", "What", "Budget", "By the clock", "Processor time", "Met"], rows)


def met(held: bool) -> str:
    return "yes" if held else "**no**"
