"""What a reader may choose on the comparison page; every choice stands in the address."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, replace
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from outcomes.comparison.endpoints import ENDPOINTS
from outcomes.period import HOW_TO_WRITE, Period, PeriodError
from outcomes.wording import lower_first
from registry.choices import AccessMethod, Intent, Sex, ShockStage

Options = tuple[tuple[str, str], ...]

VIEWS: Options = (
    ("intended", "As intended"),
    ("first", "By first route"),
    ("used", "As used"),
)
VIEW_MEANINGS = {
    "intended": (
        "Each course counts under the route tried first, even if that attempt failed or the route was "
        "changed later."
    ),
    "first": (
        "Each course counts under the route of its first balloon pump; failed attempts before it do not."
    ),
    "used": (
        "Each spell on a route counts under that route: device-days and events belong to the pump in place. "
        "A patient who changed route counts under both, each from its own first day."
    ),
}
SIZES: Options = (("small", "Under 165 cm"), ("middle", "165 to 179 cm"), ("large", "180 cm or more"))
SIZE_EDGES_CM = (165.0, 180.0)
FACTORS: Options = (
    ("stage", "Shock stage"),
    ("urgency", "Urgency"),
    ("intent", "Intent"),
    ("sex", "Sex"),
    ("size", "Size"),
)
WEIGHTS: Options = (("overlap", "Overlap"), ("ipw", "Inverse probability, stabilised"))
FILTERS: dict[str, tuple[str, Options]] = {
    "access": ("Access method", tuple((code.value, str(code.label)) for code in AccessMethod)),
    "intent": ("Intent", tuple((code.value, str(code.label)) for code in Intent)),
    "stage": ("Shock stage", tuple((code.value, str(code.label)) for code in ShockStage)),
    "sex": ("Sex", tuple((code.value, str(code.label)) for code in Sex)),
    "size": ("Height", SIZES),
}
ASKED: dict[str, Options] = {
    "view": VIEWS,
    "outcome": tuple((endpoint.code, endpoint.label) for endpoint in ENDPOINTS),
    "factor": FACTORS,
    "weights": WEIGHTS,
    "bands": (("1", "shown"),),
    **{name: options for name, (_, options) in FILTERS.items()},
}
NOT_READABLE = "You may not read one of these centres; the figures are those of your own centre."
LONGEST_TEXT = 40
LONGEST_CENTRES = 400  # codes of centres, joined


@dataclass(frozen=True)
class Choices:
    """An empty filter lets everybody in. ``outcome`` is the one that adjusted figures are about.

    ``centre`` holds codes joined by commas, so that an address means the same centres for everybody who may
    read them; empty is the reader's own.
    """

    view: str = "intended"
    centre: str = ""
    period: str = ""
    access: str = ""
    intent: str = ""
    stage: str = ""
    sex: str = ""
    size: str = ""
    outcome: str = "SERIOUS"
    factor: str = "stage"
    weights: str = "overlap"
    bands: str = ""

    @property
    def centre_codes(self) -> tuple[str, ...]:
        """Codes of the centres asked for; none for the reader's own."""
        return tuple(code for code in self.centre.split(",") if code)

    @property
    def query(self) -> str:
        """The choices as the part of an address after the question mark; what is usual is left out."""
        usual = Choices()
        said = {f.name: getattr(self, f.name) for f in fields(self)}
        return urlencode({name: value for name, value in said.items() if value != getattr(usual, name)})

    def changed(self, **changes: str) -> Choices:
        """The same choices but for some."""
        return replace(self, **changes)

    @property
    def filters(self) -> dict[str, str]:
        """The filters in use, the period among them."""
        names = ("period", *FILTERS)
        return {name: getattr(self, name) for name in names if getattr(self, name)}

    @property
    def narrowed(self) -> tuple[str, ...]:
        """The filters in use in words, for the head of the page."""
        words = []
        for name, value in self.filters.items():
            if name == "period":
                words.append(f"begun in {value}")
            else:
                label, options = FILTERS[name]
                words.append(level_words(label, dict(options)[value]))
        return tuple(words)


def level_words(label: str, level: str) -> str:
    """A level within a sentence: ``intent: bridge to transplant``, ``shock stage D: deteriorating``."""
    joint = " " if level[1:2] == ":" else ": "
    return f"{lower_first(label)}{joint}{lower_first(level)}"


def read_choices(
    asked: Mapping[str, str], zone: ZoneInfo, *, centres: Collection[str] = ()
) -> tuple[Choices, dict[str, str]]:
    """The choices of an address, and what was wrong with those that had to be left out, by name.

    ``centres`` are the codes of those that the reader may ask for.
    """
    found, problems = {}, {}
    for f in fields(Choices):
        longest = LONGEST_CENTRES if f.name == "centre" else LONGEST_TEXT
        value = asked.get(f.name, "").replace("\x00", "").strip()[:longest]
        if not value:
            continue
        problem = _problem(f.name, value, zone, centres)
        if problem:
            problems[f.name] = problem
        else:
            found[f.name] = value
    return Choices(**found), problems


def _problem(name: str, value: str, zone: ZoneInfo, centres: Collection[str]) -> str:
    if name == "centre":
        return "" if set(value.split(",")) <= set(centres) else NOT_READABLE
    if name == "period":
        try:
            Period.parse(value, zone)
        except PeriodError:
            return f"“{value}” is no period. Write {HOW_TO_WRITE}."
        return ""
    return "" if value in dict(ASKED[name]) else f"“{value}” is not among the choices."
