"""What words in coded columns mean. A suggestion fills the list on the page; a person settles it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from typing import Any

from registry.spreadsheet.columns import fold

CLOSE_ENOUGH = 0.75
MOST_WORDS = 60

# Ways of writing that are common in spreadsheets, by column and code (common practice, no source).
_WAYS: dict[str, dict[str, str]] = {
    "sex": {"M": "m, male, man", "F": "f, female, w, woman"},
    "route": {
        "AXILLARY_L": "l ax, left ax, lax, l axillary, lt axillary, ax l, axillary l",
        "AXILLARY_R": "r ax, right ax, rax, r axillary, rt axillary, ax r, axillary r",
        "FEMORAL_L": "l fem, left fem, lfa, l cfa, l femoral, lt femoral, fem l",
        "FEMORAL_R": "r fem, right fem, rfa, r cfa, r femoral, rt femoral, fem r",
        "SUBCLAVIAN_L": "l sc, l subclavian, left subclav, lt subclavian",
        "SUBCLAVIAN_R": "r sc, r subclavian, right subclav, rt subclavian",
    },
    "access_method": {
        "PERCUTANEOUS": "perc, seldinger",
        "OPEN_CUTDOWN": "cutdown, open, surgical",
        "GRAFT_CONDUIT": "graft, conduit",
    },
    "guidance": {
        "ULTRASOUND": "us, uss, echo",
        "FLUORO": "fluoro, xray",
        "ROADMAP_WIRE": "wire",
        "LANDMARK": "blind, landmark",
    },
    "intent": {
        "BTT": "btt, transplant, oht",
        "BTD": "lvad, vad, bridge to lvad",
        "BTR": "recovery",
        "BTDEC": "decision, btc",
    },
    "location": {
        "CATH_LAB": "cath lab, cathlab, ccl",
        "OR": "theatre, or",
        "BEDSIDE": "icu, ccu",
        "HYBRID_OR": "hybrid",
        "ELSEWHERE": "outside, osh",
    },
    "urgency": {"ELECTIVE": "elective", "EMERGENT": "emergency, emergent", "URGENT": "urgent"},
    "outcome": {
        "TRANSPLANT": "oht, transplanted, tx",
        "DURABLE_VAD": "lvad, vad",
        "RECOVERED_WEANED": "recovered, weaned",
        "DIED_ON_SUPPORT": "died, death, dead, expired",
        "WITHDRAWN_PALLIATIVE": "palliative",
        "TRANSFERRED": "transfer",
    },
    "end_reason": {
        "TRANSPLANT": "oht, tx",
        "DURABLE_VAD": "lvad",
        "WEANED": "recovered",
        "EXCHANGE": "exchanged",
        "ESCALATION": "escalated",
        "DEATH": "died, dead",
    },
    "exchange_reason": {
        "KINK": "kinked",
        "RUPTURE_BLOOD": "ruptured, blood in tubing",
        "GAS_LEAK": "leak",
        "MALPOSITION": "malpositioned",
        "SITE_BLEED": "bleeding",
    },
    "kind": {
        "KINK_MALFUNCTION": "kink, kinked",
        "REPOSITION": "repositioned",
        "NEURO": "stroke, cva",
        "BLEEDING": "bleed",
        "INFECTION": "sepsis",
        "RENAL": "aki",
    },
}
KNOWN_WORDS = {
    column: {word: code for code, ways in codes.items() for word in ways.split(", ")}
    for column, codes in _WAYS.items()
}
NOTHING = frozenset(
    {"", "n a", "na", "nd", "n d", "unk", "unknown", "none recorded", "not known", "not recorded"}
)
YES = frozenset({"yes", "y", "true", "1", "x", "✓", "✔", "done"})
NO = frozenset({"no", "n", "false", "0"})
_SIGNS_ALONE = re.compile(r"[\W_]+")


def says_nothing(text: str) -> bool:
    """Whether a cell holds a way of writing that nothing is known. A zero is never one."""
    return fold(text) in NOTHING or (bool(_SIGNS_ALONE.fullmatch(text)) and text not in YES)


def codes_of(field: Any) -> list[tuple[str, str]]:
    """The codes of a column with their labels."""
    pairs = field.codes.choices if hasattr(field, "codes") else field.choices
    return [(str(code), str(label)) for code, label in pairs or ()]


def is_coded(field: Any) -> bool:
    """Whether cells of this column have to be one of a list."""
    return bool(hasattr(field, "codes") or field.choices)


def split(field: Any, text: str) -> list[str]:
    """The words of one cell: several where a column can hold several."""
    return [part.strip() for part in re.split(r"[;,/+&]| and ", text)] if hasattr(field, "codes") else [text]


def code_of(field: Any, text: str, words: Mapping[str, str]) -> str | None:
    """The code that a word means: as settled for the column, or the code or its label itself."""
    settled = words.get(fold(text))
    if settled is not None:
        return settled
    return _known(field).get(fold(text))


@cache
def _known(field: Any) -> dict[str, str]:
    """The codes of a column by their labels and by themselves."""
    return {fold(name): code for code, label in codes_of(field) for name in (label, code)}


def suggested(field: Any, text: str) -> str:
    """The code that a word probably means, or nothing."""
    word = fold(text)
    known = _known(field) | KNOWN_WORDS.get(field.name, {})
    number = re.match(r"\d+", word)
    if number and number[0] in known:
        return known[number[0]]
    close = get_close_matches(word, known, n=1, cutoff=CLOSE_ENOUGH)
    return known[close[0]] if close else ""


def unsettled(field: Any, texts: Iterable[str], words: Mapping[str, str]) -> list[str]:
    """The words of a column that are no codes, each once, in the order in which they come."""
    found: dict[str, str] = {}
    for text in texts:
        for word in split(field, text):
            if word and not says_nothing(word) and code_of(field, word, words) is None:
                found.setdefault(fold(word), word)
    return list(found.values())[:MOST_WORDS]
