"""The pages of the comparison."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render

from outcomes.case_lists import case_rows
from outcomes.comparison import limits
from outcomes.comparison.build import PARTS, build_comparison
from outcomes.comparison.choices import ASKED, FACTORS, FILTERS, VIEWS, WEIGHTS, Choices, read_choices
from outcomes.comparison.committee import for_committee
from outcomes.comparison.endpoints import BY_CODE, ENDPOINTS
from outcomes.comparison.guard import committee_choices, guard_of
from outcomes.comparison.page.drawing import comparison_spec
from outcomes.comparison.page.section import Later, Picture, Section, Words
from outcomes.comparison.page.sections import AT_ONCE, NEEDS, section, sections
from outcomes.comparison.page.values import chart_values
from outcomes.comparison.reading import load
from outcomes.comparison.serialise import as_json
from outcomes.comparison.summary import summary
from outcomes.comparison.units import Programme
from outcomes.comparison.value import Comparison
from outcomes.figures import Chart
from registry.access import LOGBOOK, REPORTS, SignedInRequest, allow
from registry.choices import Role

SIZES = (("", 360), ("size-m", 480), ("size-l", 640))  # pixels, as in compare.css


# Which part of the comparison holds the counts whose keys begin so.
PARTS_OF_KEYS = {
    **dict.fromkeys(("risk", "early", "rate-all", "rate-early", "rate-later"), ("crude",)),
    **dict.fromkeys(("baseline", "year"), ("baseline",)),
    **dict.fromkeys(("stratum", "compared"), ("adjusted",)),
    **dict.fromkeys(("time", "not-followed"), ("timing",)),
    **{name: (name,) for name in ("naive", "sensitivity")},
}


@dataclass(frozen=True)
class Asked:
    """What a request asks for, and what of it could not be granted, by the name of the choice."""

    choices: Choices
    problems: dict[str, str]
    sees_all: bool


def asked_choices(request: SignedInRequest) -> Asked:
    """Read the choices from the address, as far as the role may make them."""
    choices, problems = read_choices(request.GET, request.centre.zone)
    sees_all = request.user.role != Role.COMMITTEE
    if not sees_all:
        choices, refused = committee_choices(choices)
        problems |= refused
    return Asked(choices, problems, sees_all)


def current_comparison(request: SignedInRequest, asked: Asked, parts: Collection[str] = PARTS) -> Comparison:
    """The comparison, or some parts of it, as the logbook stands now and as this role sees it."""
    dataset, facts = load(centres=[request.centre])
    if not asked.sees_all:
        parts = {"crude", *parts}  # what may be shown of the others hangs on it
    comparison = build_comparison(dataset=dataset, facts=facts, choices=asked.choices, parts=parts)
    if asked.sees_all:
        return comparison
    guard = guard_of(Programme(dataset, facts), asked.choices, request.centre.smallest_cell)
    return for_committee(comparison, guard)


def drawn(made: Section) -> dict[str, Any]:
    """A section for the template, charts with their Plotly description."""
    return {
        "id": made.id,
        "title": made.title,
        "purpose": made.purpose,
        "parts": [_drawn(p) for p in made.parts],
    }


def _drawn(part: Any) -> dict[str, Any]:
    if isinstance(part, Chart):
        spec = comparison_spec(part)
        return {"chart": part, "spec": spec, "table": chart_values(part), "size": _size(spec)}
    if isinstance(part, Words):
        return {"words": part}
    if isinstance(part, Later):
        return {"later": part}
    return {"picture": part} if isinstance(part, Picture) else {"table": part}


def _size(spec: dict[str, Any]) -> str:
    """Class of the height that the chart's rows need; Plotly fills the place it is given."""
    height = spec["layout"].get("height", 0)
    return next((name for name, most in SIZES if height <= most), "size-xl")


def _controls(choices: Choices) -> dict[str, Any]:
    """What the form of the page offers."""
    return {
        "filters": [
            {"name": name, "label": label, "options": options, "value": getattr(choices, name)}
            for name, (label, options) in FILTERS.items()
        ],
        "outcomes": ASKED["outcome"],
        "factors": FACTORS,
        "weights": WEIGHTS,
        "views": [
            {"label": label, "query": choices.changed(view=code).query, "current": code == choices.view}
            for code, label in VIEWS
        ],
    }


def _context(asked: Asked, comparison: Comparison, shown: tuple[Section, ...]) -> dict[str, Any]:
    return {
        "asked": asked,
        "comparison": comparison,
        "outcome": BY_CODE[asked.choices.outcome],
        "summary": summary(comparison),
        "sections": [drawn(made) for made in shown],
        "query": asked.choices.query,
        "opens": asked.sees_all,
        "limits": limits,
        "narrowed": bool(set(asked.choices.filters) - {"period"}) or bool(asked.choices.bands),
        **_controls(asked.choices),
    }


@allow(REPORTS)
def compare(request: SignedInRequest) -> HttpResponse:
    asked = asked_choices(request)
    comparison = current_comparison(request, asked, AT_ONCE)
    shown = sections(comparison)
    context = _context(asked, comparison, shown)
    context["contents"] = [{"id": made.id, "label": made.title} for made in shown]
    return render(request, "compare.html", context, status=422 if asked.problems else 200)


@allow(REPORTS)
def compare_section(request: SignedInRequest, section_id: str) -> HttpResponse:
    """One section by itself, for a meeting or a printer."""
    asked = asked_choices(request)
    if section_id not in NEEDS:
        raise Http404
    made = section(current_comparison(request, asked, NEEDS[section_id]), section_id)
    context = {
        "asked": asked,
        "section": drawn(made),
        "query": asked.choices.query,
        "opens": asked.sees_all,
        "outcome": BY_CODE[asked.choices.outcome],
    }
    return render(request, "compare_section.html", context, status=422 if asked.problems else 200)


@allow(REPORTS)
def compare_json(request: SignedInRequest) -> HttpResponse:
    asked = asked_choices(request)
    if asked.problems:
        return JsonResponse({"errors": asked.problems}, status=422)
    return HttpResponse(
        as_json(current_comparison(request, asked)),
        content_type="application/json",
        headers={"Content-Disposition": 'attachment; filename="comparison.json"'},
    )


@allow(LOGBOOK)
def compare_cases(request: SignedInRequest) -> HttpResponse:
    """The cases behind one figure of the comparison."""
    asked = asked_choices(request)
    key = request.GET.get("figure", "")
    parts = PARTS_OF_KEYS.get(key.partition("/")[0], ())
    found = current_comparison(request, asked, parts).shares.get(key)
    if found is None:
        raise Http404
    context = {
        "asked": asked,
        "share": found,
        "query": asked.choices.query,
        "title": _title(found.key),
        "lists": case_rows(found.cases, user=request.user),
    }
    return render(request, "compare_cases.html", context)


def _title(key: str) -> str:
    """What a count is about, in words."""
    labels = {endpoint.code: endpoint.label for endpoint in ENDPOINTS}
    arms = {"AXILLARY": "axillary", "FEMORAL": "femoral"}
    parts = [labels.get(part) or arms.get(part, "") for part in key.split("/")]
    return ", ".join(part for part in parts if part) or "Cases"
