"""The page of the estimators: signatures, the sources of their formulae, and the checks they pass."""

from __future__ import annotations

import re
from collections import defaultdict
from pathlib import Path

from django.conf import settings

from outcomes.handbook.checks import Checks, Test
from outcomes.handbook.source import Member, Module
from outcomes.handbook.uses import Uses

CODE = Path("outcomes") / "estimators"
TESTS = Path("tests") / "outcomes" / "estimators"
CHAPTERS = (
    ("Proportions, differences and ratios",
     ("proportions", "clusters", "differences", "ratios", "exact_tables", "scores")),
    ("Rates", ("rates", "rate_tests")),
    ("Time to event", ("survival", "competing", "multistate", "recurrent", "timevarying")),
    ("Pooling", ("pooling", "homogeneity")),
    ("Weighting", ("balance", "propensity", "weighting", "refit", "weighted_limits", "evalue")),
    ("Charts over time and between units", ("controlcharts", "chartsignals", "cusum", "funnel")),
    ("Ranks, pairs and families of questions", ("order", "paired", "multiplicity")),
    ("What the others share", ("base", "arrays", "roots", "tally", "curves", "ksample")),
)  # fmt: skip
INTRODUCTION = """\
# Estimators

Written from the code and its tests by `manage.py handbook`; do not edit it by hand.

Numbers go in, numbers come out: `outcomes.estimators` knows neither the database nor the web, and needs NumPy
and `scipy.special` only. A result is a frozen value with its inputs, its limits, their level and the name of
the method. An argument that breaks a rule raises `EstimatorError`, which names it. What cannot be estimated
is `None`, with a note in words; it is never NaN and never 0.

**Published values** are held to the digits printed; the words after a source say whether a value was read in
print, recalled and then recomputed, put out by other software, or follows from the definition. **Also
tested** names the other tests of the function: properties that must hold for any data, other libraries, and
slow second versions. What every known value is used for, or why not, is listed in
`tests/outcomes/estimators/known_values.json`.

**Used by** names the modules of `outcomes` that call the function for the product's figures; **used through**
names the modules of estimators that need it for one of those, if only by an option. The rest is for checks
and for analysis of one's own; no figure of the product comes from it.
"""


def text() -> str:
    """The whole page."""
    checks, uses = Checks(settings.BASE_DIR / TESTS), Uses(settings.BASE_DIR / CODE.parent)
    parts = [INTRODUCTION, _contents(), _unused(uses)]
    for title, names in CHAPTERS:
        parts.append(f"## {title}\n")
        parts += [_module(_read(name), checks, uses) for name in names]
    return "\n".join(parts)


def _read(name: str) -> Module:
    return Module(settings.BASE_DIR / CODE / f"{name}.py")


def _contents() -> str:
    rows = ["| Chapter | Module | Functions |", "| --- | --- | --- |"]
    for title, names in CHAPTERS:
        for module in map(_read, names):
            listed = ", ".join(f"[`{f.name}`](#{anchor(module, f)})" for f in module.functions)
            rows.append(f"| {title} | `{module.name}` | {listed} |")
            title = ""
    return "\n".join([*rows, ""])


def _unused(uses: Uses) -> str:
    """What a reader of the product's figures need not know."""
    names = [
        f"`{module.name}.{function.name}`"
        for _, chapter in CHAPTERS
        for module in map(_read, chapter)
        for function in module.functions
        if uses.unused(module.name, function.name)
    ]
    return f"Not used by a page yet: {', '.join(names)}.\n"


def anchor(module: Module, function: Member) -> str:
    """Where a function stands on the page."""
    return f"{module.name}{function.name}"  # as from the heading "module.function"


def _module(module: Module, checks: Checks, uses: Uses) -> str:
    parts = [f"### `{module.name}`\n", plain(module.words) + "\n"]
    for result in module.results:
        fields = f" Fields: `{result.signature}`." if result.signature else ""
        parts.append(f"- **`{result.name}`** {' '.join(plain(result.words).split())}{fields}")
    parts += [""] if module.results else []
    parts += [_function(module, function, checks, uses) for function in module.functions]
    return "\n".join(parts)


def _function(module: Module, function: Member, checks: Checks, uses: Uses) -> str:
    tests = checks.of(module.name, function.name)
    lines = [f"#### `{module.name}.{function.name}`\n", f"```python\n{function.signature}\n```\n"]
    lines += [plain(function.words) + "\n"] if function.words else []
    lines.append(uses.said(module.name, function.name) + "\n")
    if published := _published(tests, checks):
        lines += ["Published values:\n", *published, ""]
    others = [test.said for test in tests if not test.examples]
    if others:
        lines.append(f"Also tested: {'; '.join(others)}.\n")
    return "\n".join(lines)


def _published(tests: list[Test], checks: Checks) -> list[str]:
    """One line a source, with the examples taken from it."""
    ids: dict[tuple[str, str], list[str]] = defaultdict(list)
    wanted = {id for test in tests for id in test.examples}
    for id, example in checks.examples.items():
        if id in wanted:
            ids[example.source, example.standing].append(f"`{id}`")
    return [f"- {source} ({standing}): {', '.join(found)}" for (source, standing), found in ids.items()]


def plain(words: str) -> str:
    """A docstring as Markdown."""
    return re.sub(r"``(.+?)``", r"`\1`", words)
