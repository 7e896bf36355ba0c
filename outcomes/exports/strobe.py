"""The STROBE appendix: what a reader of an observational report asks, and where this packet answers.

Items of von Elm E et al., J Clin Epidemiol 2008;61:344-349, "The Strengthening the Reporting of Observational
Studies in Epidemiology (STROBE) statement", doi:10.1016/j.jclinepi.2007.11.008 (numbering from memory). The
same items as in docs/comparison.md.
"""

from __future__ import annotations

from dataclasses import dataclass

WITHOUT = "Not in this packet, which holds no comparison of the routes."


@dataclass(frozen=True)
class Item:
    """One item: what is asked, and where the quarter and the comparison answer; empty where they do not."""

    number: str
    asked: str
    quarter: str = ""
    comparison: str = ""

    def answer(self, *, compared: bool) -> str:
        """Where it is answered, with or without a comparison in the packet."""
        parts = [self.quarter, self.comparison if compared else ""]
        return " ".join(part for part in parts if part) or WITHOUT


ITEMS = (
    Item("1", "Title and abstract", "Cover and key figures.", "What can and cannot be concluded."),
    Item("2", "Background", "Not covered: no property of the data."),
    Item("3", "Objectives", "", "The outcome chosen; it is defined under When a figure is refused."),
    Item(
        "4, 5",
        "Design, setting, dates",
        "One programme’s own records; centre, period and data cut stand on the cover and on every page.",
    ),
    Item("6", "Participants", "Considered, attempted, placed.", "Who is compared, and how assigned."),
    Item("7", "Variables", "Definitions.", "What is adjusted for, and what is not."),
    Item("8, 11", "Measurement, quantitative variables", "Definitions.", "Units in the table At the start."),
    Item(
        "9",
        "Bias",
        "",
        "Standardised differences, overlap, E-values, the naive figure and its immortal time, other ways to "
        "count.",
    ),
    Item("10", "Study size", "", "What would it take."),
    Item("12", "Statistical methods", "A line under every table and chart; Definitions."),
    Item("12b", "Interactions", "", "Only the test of a common difference over strata."),
    Item(
        "12c, 14b",
        "Missing data",
        "Left out, censored or counted apart; courses without a recorded level.",
        "Missing counts by group, characteristics recorded in nobody, complete cases.",
    ),
    Item("12e", "Sensitivity analyses", "", "The chosen outcome counted in other ways."),
    Item(
        "13",
        "Participants at each stage",
        "Considered, attempted, placed; numbers at risk.",
        "How the two groups came about; who is left out of adjusted figures.",
    ),
    Item("14a", "Descriptive data", "Patients, courses, runs and device-days.", "How alike the groups were."),
    Item("14c", "Follow-up", "Device-days by route; numbers at risk below each curve."),
    Item("15", "Outcome data", "n/N, or events and device-days, beside each estimate."),
    Item(
        "16",
        "Main results",
        "Unadjusted estimates with their limits; 0 events show their upper limit.",
        "Crude and adjusted figures with their limits, and what is adjusted for.",
    ),
    Item("17", "Other analyses", "Quarters before.", "Early and later rates, strata, time, trends."),
    Item(
        "18 to 21",
        "Discussion",
        "One programme: nothing here speaks for others.",
        "What can and cannot be concluded: key result, limitations, hedged interpretation, and of whom the "
        "adjusted figure speaks.",
    ),
    Item("22", "Funding", "Not covered: no property of the data."),
)
