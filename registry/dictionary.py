"""The data dictionary: what every column of the logbook means, taken from the models themselves."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from inspect import cleandoc
from typing import Any

from django.db import models
from django.db.models import Choices

from registry import choices, choices_events, choices_extended
from registry.choices_events import EventKind
from registry.fields import Code, Codes, Day, Moment, Number, Range, Whole, YesNo
from registry.models import Event, Patient, PatientIdentity, Record
from registry.models.event import KIND_FIELDS, REQUIRED_BY_KIND
from registry.tables.layout import TABLE_OF, TABLES

KINDS: tuple[tuple[type, str], ...] = (
    (Codes, "codes"),
    (Code, "code"),
    (Moment, "date and time"),
    (Day, "date"),
    (YesNo, "yes or no"),
    (Whole, "whole number"),
    (Number, "number"),
    (models.TextField, "text"),
    (models.CharField, "short text"),
)
HEADER = (
    *("Column", "Label", "Kind", "Unit", "Required", "Refused outside", "Asked outside"),
    *("Group", "Meaning", "Source"),
)
INTRODUCTION = """\
# Data dictionary

Written from the models by `manage.py data_dictionary`; do not edit it by hand.

- **Required**: a record without it is refused. An empty cell means not recorded, never zero and never no.
- **Refused outside**: a value beyond this range is not taken. **Asked outside**: it is taken, and a person is
  asked for a reason, which is kept.
- **Group**: `core` is always shown; the other groups are switched on by a centre ([tiers](tiers.md)).
- **Source**: where the definition comes from. “Project convention” is ours; “common practice, no source” is a
  fact of the trade for which nothing published is claimed.
- Dates and times are written in UTC, `2025-03-04T14:30:00Z`; dates as `2025-03-04`; lists are joined by `;`.
"""


@dataclass(frozen=True)
class Entry:
    """One column: its name in files, what people call it, and what it may hold."""

    entity: str
    column: str
    label: str
    kind: str
    unit: str
    codes: dict[str, str]
    code_list: str
    required: str
    hard: Range | None
    soft: Range | None
    group: str
    meaning: str
    source: str


def described_models() -> list[type[Record]]:
    """All entities of the logbook in the order of their files; the identity stands behind the patient."""
    listed = [table.model for table in TABLES]
    listed.insert(listed.index(Patient) + 1, PatientIdentity)
    return listed


def entries(model: type[Record]) -> list[Entry]:
    """The columns of one entity, in the order in which they were written down."""
    return [_entry(model, field) for field in model.described()]


def _entry(model: type[Record], field: Any) -> Entry:
    pairs = field.codes.choices if isinstance(field, Codes) else field.choices or []
    return Entry(
        entity=model.entity,
        column=field.name,
        label=str(field.verbose_name),
        kind=next(word for kind, word in KINDS if isinstance(field, kind)),
        unit=field.unit,
        codes={str(code): str(label) for code, label in pairs},
        code_list=_list_name(pairs),
        required=_required(model, field),
        hard=field.hard,
        soft=field.soft,
        group=field.group,
        meaning=_meaning(model, field),
        source=field.source,
    )


def _required(model: type[Record], field: Any) -> str:
    if not field.null and not field.blank:
        return "yes"
    kinds = _kinds_of(field, REQUIRED_BY_KIND) if model is Event else ""
    return f"for {kinds}" if kinds else ""


def _meaning(model: type[Record], field: Any) -> str:
    words = [str(field.help_text)] if field.help_text else []
    if field.has_default() and not callable(field.default) and field.default not in ("", None):
        default = {True: "yes", False: "no"}.get(field.default, str(field.default))
        words.append(f"When not given: {default}.")
    kinds = _kinds_of(field, KIND_FIELDS) if model is Event else ""
    if kinds:
        words.append(f"Belongs to {kinds}.")
    return " ".join(words)


def _kinds_of(field: Any, by_kind: dict[str, tuple[str, ...]]) -> str:
    return ", ".join(str(EventKind(kind)) for kind, names in by_kind.items() if field.name in names)


# Code lists


def code_lists() -> dict[str, type[Choices]]:
    """Every code list of the logbook by its title, in the order of the files that define them."""
    found = {}
    for module in (choices, choices_events, choices_extended):
        for name, value in vars(module).items():
            if isinstance(value, type) and issubclass(value, Choices) and value.__module__ == module.__name__:
                found[_title(name)] = value
    return found


def _title(name: str) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", " ", name).capitalize()


def _list_name(pairs: Any) -> str:
    wanted = list(pairs)
    return (
        next((title for title, codes in code_lists().items() if codes.choices == wanted), "")
        if wanted
        else ""
    )


# Text


def text() -> str:
    """The whole dictionary as Markdown."""
    parts = [INTRODUCTION]
    parts += ["\n".join(_entity_lines(model)) for model in described_models()]
    parts.append("## Code lists\n")
    used = {entry.code_list for model in described_models() for entry in entries(model)}
    parts += ["\n".join(_list_lines(title, codes)) for title, codes in code_lists().items() if title in used]
    return "\n".join(parts)


def _entity_lines(model: type[Record]) -> Iterator[str]:
    yield f"## {str(model._meta.verbose_name).capitalize()}\n"
    yield f"{_file_words(model)}\n"
    yield _line(HEADER)
    yield _line(["---"] * len(HEADER))
    for entry in entries(model):
        yield _line(_cells(entry))
    yield ""


def _file_words(model: type[Record]) -> str:
    table = TABLE_OF.get(model)
    if table is None:
        return "Kept apart from everything else. It is in no file, no report and no export."
    named = ", ".join(f"`{column}`" for column in table.key)
    links = [column for column in table.columns if column not in (*table.fields, *table.key)]
    words = f"File `{table.file}`; a row is named by {named}."
    if links:
        words += f" Columns that name other records: {', '.join(f'`{column}`' for column in links)}."
    plain = set(table.fields) - {field.name for field in model.described()}
    return words + "".join(f" `{name}` holds {table.fields[name].verbose_name}." for name in sorted(plain))


def _cells(entry: Entry) -> list[str]:
    listed = f"{entry.kind}: [{entry.code_list.lower()}](#{entry.code_list.lower().replace(' ', '-')})"
    return [
        f"`{entry.column}`",
        entry.label,
        listed if entry.code_list else entry.kind,
        entry.unit,
        entry.required,
        _range(entry.hard) if not entry.codes else "",
        _range(entry.soft),
        f"`{entry.group}`",
        entry.meaning,
        entry.source,
    ]


def _range(limits: Range | None) -> str:
    return f"{limits[0]} to {limits[1]}" if limits else ""


def _line(cells: Any) -> str:
    return "| " + " | ".join(str(cell).replace("|", "\\|").replace("\n", " ") for cell in cells) + " |"


def _list_lines(title: str, codes: type[Choices]) -> Iterator[str]:
    yield f"### {title}\n"
    meaning = codes.__dict__.get("__doc__")
    if meaning:
        yield " ".join(cleandoc(meaning).split()) + "\n"
    yield _line(("Code", "Label"))
    yield _line(("---", "---"))
    for code, label in codes.choices:
        yield _line((f"`{code}`", label))
    yield ""
