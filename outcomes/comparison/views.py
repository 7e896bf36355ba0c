"""The pages of the comparison."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone

from outcomes.case_lists import CaseTable, case_rows
from outcomes.comparison import limits
from outcomes.comparison.build import PARTS, build_comparison
from outcomes.comparison.choices import ASKED, FACTORS, FILTERS, VIEWS, WEIGHTS, Choices, read_choices
from outcomes.comparison.committee import for_committee
from outcomes.comparison.cuts import last_quarter_end
from outcomes.comparison.endpoints import BY_CODE, ENDPOINTS
from outcomes.comparison.guard import committee_choices
from outcomes.comparison.page.drawing import comparison_spec
from outcomes.comparison.page.section import Later, Picture, Section, Words
from outcomes.comparison.page.sections import AT_ONCE, NEEDS, section, sections
from outcomes.comparison.page.values import chart_values
from outcomes.comparison.pooled import guard_of_several
from outcomes.comparison.reading import load
from outcomes.comparison.serialise import as_json
from outcomes.comparison.summary import summary
from outcomes.comparison.units import Programme
from outcomes.comparison.value import Comparison
from outcomes.figures import Chart
from registry.access import LOGBOOK, REPORTS, SignedInRequest, allow
from registry.choices import Role
from registry.models import Centre

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
    readable: tuple[Centre, ...]

    @property
    def centres(self) -> tuple[Centre, ...]:
        """Those compared: the reader's own unless others were asked for."""
        wanted = self.choices.centre_codes
        return tuple(centre for centre in self.readable if centre.code in wanted) or self.readable[:1]

    @property
    def further(self) -> bool:
        """Whether centres other than the own are among them: their cases stay closed."""
        return len(self.centres) > 1 or self.elsewhere

    @property
    def several_zones(self) -> bool:
        """Whether they keep different time, so that days are those of UTC."""
        return len({centre.time_zone for centre in self.centres}) > 1

    @property
    def elsewhere(self) -> bool:
        """Whether the own centre is not among them, so that no figure opens."""
        return self.readable[0] not in self.centres


def asked_choices(request: SignedInRequest) -> Asked:
    """Read the choices from the address, as far as the role may make them."""
    readable = tuple(request.user.compared_centres)
    codes = [centre.code for centre in readable]
    choices, problems = read_choices(request.GET, request.centre.zone, centres=codes)
    sees_all = request.user.role != Role.COMMITTEE
    if not sees_all:
        zones = {centre.time_zone for centre in readable if centre.code in choices.centre_codes}
        choices, refused = committee_choices(choices, one_zone=len(zones) < 2)
        problems |= refused
    return Asked(choices, problems, sees_all, readable)


def current_comparison(request: SignedInRequest, asked: Asked, parts: Collection[str] = PARTS) -> Comparison:
    """The comparison, or some parts of it, as the logbook stands now and as this role sees it."""
    if not asked.sees_all:
        return _committee_comparison(asked, parts)
    dataset, facts = load(centres=asked.centres)
    return build_comparison(dataset=dataset, facts=facts, choices=asked.choices, parts=parts)


def _committee_comparison(asked: Asked, parts: Collection[str]) -> Comparison:
    """Under the strictest threshold of all centres that the reader may read, whichever are asked for."""
    threshold = max(centre.smallest_cell for centre in asked.readable)
    cut_at = last_quarter_end(timezone.now(), asked.centres[0].zone)
    dataset, facts = load(centres=asked.centres, cut_at=cut_at)
    guard = guard_of_several(Programme(dataset, facts), asked.choices, threshold)
    # What may be shown of the other parts hangs on the crude one.
    made = build_comparison(dataset=dataset, facts=facts, choices=asked.choices, parts={"crude", *parts})
    return for_committee(made, guard)


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


def _controls(asked: Asked) -> dict[str, Any]:
    """What the form of the page offers."""
    choices = asked.choices
    return {
        "centres": _centre_options(asked),
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


def _centre_options(asked: Asked) -> list[dict[str, Any]]:
    """All centres and each; nothing for who reads one only."""
    if len(asked.readable) == 1:
        return []
    every = ",".join(centre.code for centre in asked.readable)
    options = [(every, "All"), *((centre.code, centre.name) for centre in asked.readable)]
    now = ",".join(centre.code for centre in asked.centres)
    return [{"code": code, "label": label, "current": code == now} for code, label in options]


def _context(asked: Asked, comparison: Comparison, shown: tuple[Section, ...]) -> dict[str, Any]:
    return {
        "asked": asked,
        "comparison": comparison,
        "outcome": BY_CODE[asked.choices.outcome],
        "summary": summary(comparison),
        "sections": [drawn(made) for made in shown],
        "query": asked.choices.query,
        "opens": asked.sees_all and not asked.elsewhere,
        "limits": limits,
        "narrowed": bool(set(asked.choices.filters) - {"period"}) or bool(asked.choices.bands),
        **_controls(asked),
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
        "opens": asked.sees_all and not asked.elsewhere,
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
    if asked.elsewhere:
        raise Http404
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
        "lists": [_own(table) for table in case_rows(found.cases, user=request.user)],
    }
    return render(request, "compare_cases.html", context)


def _own(table: CaseTable) -> CaseTable:
    """The table with those counted that it lists: cases of further centres are not among them."""
    return replace(table, counted=sum(row.counted for row in table.rows))


def _title(key: str) -> str:
    """What a count is about, in words."""
    labels = {endpoint.code: endpoint.label for endpoint in ENDPOINTS}
    arms = {"AXILLARY": "axillary", "FEMORAL": "femoral"}
    parts = [labels.get(part) or arms.get(part, "") for part in key.split("/")]
    return ", ".join(part for part in parts if part) or "Cases"
