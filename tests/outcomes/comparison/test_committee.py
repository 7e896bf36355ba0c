"""Everything the committee can ever see is put into one linear system; no hidden count may be pinned in it.

A program that solves it (scipy's linear programming, on whole counts relaxed to real ones) looks for the
smallest and the largest value that each hidden count can have. If both lie among the small counts, the count
has been given away.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.sparse import csr_array

from outcomes.comparison import guard
from outcomes.comparison.answers import answers
from outcomes.comparison.build import build_comparison
from outcomes.comparison.choices import Choices
from outcomes.comparison.committee import for_committee
from outcomes.comparison.endpoints import ENDPOINTS
from outcomes.comparison.filters import LEVELS, calendar_years
from outcomes.comparison.guard import committee_choices, guard_of
from outcomes.comparison.page import further_tables
from outcomes.comparison.summary import summary
from outcomes.comparison.suppression import both_safe
from outcomes.comparison.units import Programme, units_of
from outcomes.comparison.value import ARMS, HIDDEN, Comparison, Share
from tests.outcomes.comparison.simulated import ZONE, programme, stories

THRESHOLD = 5
PARTS = ("baseline", "crude", "adjusted", "timing", "naive", "sensitivity", "over_time")


def small_programme(seed: int, size: int = 60) -> Programme:
    """All of it within one quarter: what later quarters add is the matter of test_cuts."""
    return programme(
        stories(
            size,
            seed,
            chance_axillary=lambda severe, age: np.where(severe, 0.35, 0.65),
            risk=lambda axillary, severe, age: np.where(severe, 0.25, 0.08),
            spread_days=45,
        ),
        cut_at=datetime(2026, 6, 30, 23, 59, tzinfo=ZONE),
    )


def seen(made: Programme, choices: Choices, parts: tuple[str, ...] = ("crude",)) -> Comparison:
    comparison = build_comparison(dataset=made.dataset, facts=made.facts, choices=choices, parts=parts)
    return for_committee(comparison, guard_of(made, choices, THRESHOLD))


@dataclass
class System:
    """Unknown counts by name, and linear equations and inequalities between them."""

    names: dict[tuple, int] = field(default_factory=dict)
    equal: list[tuple[dict[int, float], float]] = field(default_factory=list)
    at_most: list[tuple[dict[int, float], float]] = field(default_factory=list)
    solvable: dict[str, object] = field(default_factory=dict)

    def of(self, name: tuple) -> int:
        return self.names.setdefault(name, len(self.names))

    def equals(self, terms: dict[tuple, float], value: float) -> None:
        self.equal.append(({self.of(name): factor for name, factor in terms.items()}, value))

    def below(self, terms: dict[tuple, float], value: float) -> None:
        self.at_most.append(({self.of(name): factor for name, factor in terms.items()}, value))

    def bounds(self, terms: dict[tuple, float]) -> tuple[float, float]:
        """Smallest and largest value of a sum of unknowns; the largest only where the smallest is not 0."""
        width = len(self.names)
        objective = np.zeros(width)
        for name, factor in terms.items():
            objective[self.of(name)] = factor
        found, known = [], self._known(width)
        for sign in (1.0, -1.0):
            answer = linprog(sign * objective, **known, bounds=(0, None), method="highs")
            assert answer.status in (0, 3), answer.message
            found.append(sign * answer.fun if answer.status == 0 else np.inf)
            if found[0] < 0.5:
                return found[0], np.inf
        return found[0], found[1]

    def _known(self, width: int) -> dict[str, object]:
        """The equations and inequalities for the solver, made once."""
        if self.solvable.get("width") != width:
            self.solvable = {
                "width": width,
                "A_eq": csr_array(self._matrix(self.equal, width)), "b_eq": [v for _, v in self.equal],
                "A_ub": csr_array(self._matrix(self.at_most, width)), "b_ub": [v for _, v in self.at_most],
            }  # fmt: skip
        return {name: value for name, value in self.solvable.items() if name != "width"}

    @staticmethod
    def _matrix(rows: list[tuple[dict[int, float], float]], width: int) -> np.ndarray:
        matrix = np.zeros((len(rows), width))
        for k, (terms, _) in enumerate(rows):
            for place, factor in terms.items():
                matrix[k, place] += factor
        return matrix


def levels_of(made: Programme) -> dict[str, list[str]]:
    """Every filter with the values the committee may choose; the rest of each is not recorded."""
    years = np.unique(calendar_years(made, units_of(made, "intended")))
    return {
        "period": [str(year) for year in years],
        **{name: list(LEVELS[name]) for name in ("access", "intent", "stage", "sex", "size")},
    }


Pages = dict[tuple, Comparison]


def occurring(made: Programme) -> list[str]:
    """Outcomes that somebody has: the others are 0 on every page."""
    units = units_of(made, "intended")
    return [endpoint.code for endpoint in ENDPOINTS if answers(made, units, endpoint).hit.any()]


def all_pages(made: Programme) -> Pages:
    """Every page that the committee can open, by the filter in use."""
    pages: Pages = {("all",): seen(made, Choices())}
    for name, values in levels_of(made).items():
        pages |= {(name, value): seen(made, Choices(**{name: value})) for value in values}
    return pages


def everything_shown(made: Programme, pages: Pages, arm: str) -> tuple[System, list[tuple[dict, str]]]:
    """The system of one arm, and the hidden counts in it (as sums of unknowns) with their names."""
    system, hidden = System(), []
    codes = occurring(made)
    _tell(system, hidden, pages["all",], arm, ("all",), codes)
    for name, values in levels_of(made).items():
        parts = [(name, value) for value in [*values, "other"]]
        for code in ("size", *codes):
            system.equals({("all", code): 1.0, **{(*part, code): -1.0 for part in parts}}, 0.0)
        for code in codes:
            system.below({(name, "other", code): 1.0, (name, "other", "size"): -1.0}, 0.0)
        for value in values:
            _tell(system, hidden, pages[name, value], arm, (name, value), codes)
    return system, hidden


def given_away(made: Programme, pages: Pages) -> list[str]:
    """Names of hidden counts that the system pins down among the small ones."""
    found = []
    for arm in ARMS:
        system, hidden = everything_shown(made, pages, arm)
        assert hidden, "the example must hide something"
        for terms, name in hidden:
            low, high = system.bounds(terms)
            if low > 0.999 and high < THRESHOLD - 0.999:
                found.append(f"{arm} {name}: {low:.2f} to {high:.2f}")
    return found


def _tell(
    system: System, hidden: list, comparison: Comparison, arm: str, where: tuple, codes: list[str]
) -> None:
    """What one page says of one arm."""
    (flow,) = (flow for flow in comparison.who.flows if flow.arm == arm)
    size = (*where, "size")
    _state(system, hidden, flow.total, {size: 1.0})
    for code in codes:
        row = comparison.crude_row(code)
        share = row.axillary if arm == ARMS[0] else row.femoral
        system.below({(*where, code): 1.0, size: -1.0}, 0.0)
        if share.hits is not None:
            system.equals({(*where, code): 1.0}, share.hits)
            system.equals({size: 1.0}, share.total)
        else:
            hidden.append(({(*where, code): 1.0}, f"{where} {code}"))
            hidden.append(({size: 1.0, (*where, code): -1.0}, f"{where} without {code}"))
        if code not in ("ANY", "SERIOUS") and row.family == "complication":
            # A complication of one kind is a complication.
            system.below({(*where, code): 1.0, (*where, "ANY"): -1.0}, 0.0)
    system.below({(*where, "SERIOUS"): 1.0, (*where, "ANY"): -1.0}, 0.0)


def _state(system: System, hidden: list, share: Share, terms: dict) -> None:
    if share.hits is None:
        hidden.append((terms, share.key))
    else:
        system.equals(terms, share.hits)


@pytest.mark.parametrize("seed", [1, 2])
def test_no_hidden_count_can_be_worked_out_from_all_pages_together(seed):
    made = small_programme(seed)
    assert given_away(made, all_pages(made)) == []


def test_the_solver_does_find_counts_that_only_their_own_smallness_hides(monkeypatch):
    """The same pages without the protection of one count by others: the check must not be blind."""

    def only_small(counts, threshold, offered=None):
        return np.ones(counts.shape[1], dtype=np.bool_)

    def hidden_alone(self, level):
        levels, k = self.hits.shape[0] // 2, self.last
        places = {arm: level + n * levels for n, arm in enumerate(ARMS)}
        counts = {arm: (int(self.hits[p, k]), int(self.rows[p, k])) for arm, p in places.items()}
        return {arm: guard.Standing(*pair) for arm, pair in counts.items() if both_safe(*pair, THRESHOLD)}

    monkeypatch.setattr(guard, "shown_at", only_small)
    monkeypatch.setattr(guard.History, "standing", hidden_alone)
    monkeypatch.setattr(
        guard, "hidden_parts", lambda counts, threshold: [0 < count < threshold for count in counts]
    )
    made = small_programme(1)
    assert given_away(made, all_pages(made))


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_every_number_shown_is_zero_or_at_least_the_threshold(seed):
    made = small_programme(seed)
    comparison = seen(made, Choices(), PARTS)
    for share in comparison.shares.values():
        if share.hits is not None and share.method != "count":
            assert share.hits == 0 or share.hits >= THRESHOLD, share
        if share.hits is not None and share.total and float(share.total).is_integer():
            rest = share.total - share.hits
            assert rest <= 0 or rest >= THRESHOLD or share.key.startswith("rate"), share


def test_parts_of_an_arm_protect_each_other():
    comparison = seen(small_programme(1), Choices(), PARTS)
    for flow in comparison.who.flows:
        hidden = [share for _, share in flow.paths if share.hidden]
        assert len(hidden) != 1


def test_curves_are_gone_and_say_why():
    comparison = seen(small_programme(2, 120), Choices(), PARTS)
    for found in (*comparison.timing.mobilisation, *comparison.timing.bridge):
        assert found.lines == ()
        assert "not shown here" in found.note


def transferred_femoral(count: int) -> Programme:
    """A programme of 200 in which so many femoral patients, and no axillary ones, arrived with a pump."""
    found = stories(
        200, 7,
        chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
        risk=lambda axillary, severe, age: np.full(severe.shape, 0.02),
        spread_days=45,
    )  # fmt: skip
    transferred = ~found.axillary & (np.cumsum(~found.axillary) <= count)
    return programme(found, transferred=transferred, cut_at=datetime(2026, 6, 30, 23, 59, tzinfo=ZONE))


@pytest.mark.parametrize(
    ("count", "what"),
    [
        (12, "arrived with a device in place"),
        (3, "arrived with a device in place, level not shown here"),
    ],
)
def test_who_is_left_out_is_named_only_where_the_table_counts_them(count, what):
    comparison = seen(transferred_femoral(count), Choices(), PARTS)
    (left_out,) = comparison.adjusted.overlap.restricted
    assert (left_out.what, left_out.count) == (what, None)
    filtered = seen(transferred_femoral(count), Choices(sex="F"), PARTS)
    assert all("level not shown here" in part.what for part in filtered.adjusted.overlap.restricted)


def test_a_refusal_tells_no_count():
    made = transferred_femoral(12)
    everything = build_comparison(dataset=made.dataset, facts=made.facts)
    assert any(row.counted for row in everything.adjusted.rows)
    assert any(row.counted for row in everything.sensitivity.rows)
    comparison = seen(made, Choices(), PARTS)
    refused = [row for row in comparison.adjusted.rows if row.refusal not in ("", HIDDEN)]
    assert refused
    for row in (*comparison.adjusted.rows, *comparison.sensitivity.rows):
        assert row.counted == ""
        assert row.reason == row.refusal
    assert all("who could have had either route: at least 10 are" in row.refusal for row in refused)
    assert (comparison.adjusted.overlap.counted, comparison.adjusted.overlap.kept) == ("", ())


def test_a_hidden_test_is_called_not_shown_and_nobody_is_counted_as_moved():
    comparison = seen(small_programme(2, 120), Choices(), PARTS)
    assert all(found.moved == () for found in comparison.timing.mobilisation)
    said = {
        row.cells[-1].instead or row.cells[-1].value
        for row in further_tables.tests_table(comparison.timing).rows
    }
    assert said == {"not shown"}


def test_what_is_drawn_from_single_patients_is_gone():
    comparison = seen(small_programme(3), Choices(), PARTS)
    assert comparison.who.moves == ()
    assert comparison.adjusted.overlap.axillary == ()
    assert comparison.over_time.learning.worse == ()
    assert comparison.over_time.learning.method == ""
    assert comparison.sensitivity.pace is None
    assert all(wanted.crude_years is None for wanted in comparison.sensitivity.wanted)
    assert all(trend.values == () for trend in comparison.over_time.trends)
    assert all(row.axillary.hidden for row in comparison.sensitivity.rows)


def test_a_figure_hidden_in_the_table_is_not_told_in_words():
    made = small_programme(1)
    comparison = seen(made, Choices(outcome="LIMB"), ("baseline", "crude", "adjusted"))
    row = comparison.crude_row("LIMB")
    text = " ".join(summary(comparison))
    if row.axillary.hidden or row.femoral.hidden:
        assert "too few to show" in text
    assert comparison.smallest_cell == THRESHOLD


def test_the_committee_has_one_filter_whole_years_and_the_usual_view():
    asked = Choices(view="used", period="2025-Q1", stage="C", sex="F")
    granted, refused = committee_choices(asked)
    assert granted == Choices(stage="C")
    assert set(refused) == {"view", "period", "sex"}
    assert committee_choices(Choices(period="2025")) == (Choices(period="2025"), {})


def test_it_asks_for_the_crude_part():
    made = small_programme(1)
    comparison = build_comparison(dataset=made.dataset, facts=made.facts, parts=("naive",))
    with pytest.raises(ValueError, match="crude"):
        for_committee(comparison, guard_of(made, Choices(), THRESHOLD))
