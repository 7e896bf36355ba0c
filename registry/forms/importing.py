"""The steps of an import: the file, what its columns mean, how they are read, and what was left open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django import forms

from registry.models import Centre, StagedSheet
from registry.spreadsheet.columns import Layout, Part, Target, fold, grouped, targets
from registry.spreadsheet.courses import Link
from registry.spreadsheet.limits import MOST_BYTES, RefusedFile
from registry.spreadsheet.orders import DayOrder, evidence
from registry.spreadsheet.staging import (
    PASTED,
    choose,
    column,
    readings,
    remembered_reading,
    stage,
    suggest_matches,
)
from registry.spreadsheet.units import proven_unit, unit_in, units_of
from registry.spreadsheet.values import ColumnReading, text_of
from registry.spreadsheet.words import codes_of, is_coded, suggested, unsettled

EXAMPLES = 3
LONGEST_EXAMPLE = 24
EMPTY = "-"  # the answer that a word means nothing recorded
CHOOSE = ("", "Choose")
# What can hold for all rows of a sheet that did not keep it. Never what tells patients or devices apart.
SAME_FOR_ALL = (
    "course.intent", "course.shock_stage", "run.access_method", "run.guidance", "run.location", "run.urgency",
    "run.technical_success", "run.operator_code", "run.balloon_volume_ml", "run.catheter_fr",
    "run.exchange_reason",
)  # fmt: skip
NEEDED = {
    Layout.RUNS: (("patient.study_no", "identity.record_number"), ("run.inserted_at", "run.inserted_at:day")),
    Layout.EVENTS: (
        ("patient.study_no", "identity.record_number"),
        ("event.kind",),
        ("event.onset_at", "event.onset_at:day"),
    ),
}  # fmt: skip


class UploadForm(forms.Form):
    """A file, or rows pasted from a spreadsheet."""

    file = forms.FileField(
        label="Spreadsheet", required=False, help_text="XLSX or CSV (UTF-8), 5 MB and 5,000 rows at most."
    )
    pasted = forms.CharField(
        label="Or paste rows here, the headings first",
        required=False,
        max_length=1_000_000,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        file, pasted = given.get("file"), (given.get("pasted") or "").strip()
        if not self.errors and bool(file) == bool(pasted):
            self.add_error(None, "Choose a file or paste rows, one of the two.")
        if file and file.size > MOST_BYTES:
            self.add_error("file", "The file is larger than 5 MB.")
        return given

    def stage(self, user: Any) -> StagedSheet | None:
        """Take the sheet in; None after a refusal, which is shown at the field."""
        file = self.cleaned_data["file"]
        try:
            if file:
                return stage(user, name=file.name, data=file.read())
            return stage(user, name=PASTED, text=self.cleaned_data["pasted"])
        except RefusedFile as refusal:
            self.add_error("file" if file else "pasted", str(refusal))
            return None


class SheetForm(forms.Form):
    """Which sheet of a workbook is meant."""

    sheet = forms.ChoiceField(label="Sheet", widget=forms.RadioSelect)

    def __init__(self, *args: Any, staged: StagedSheet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.staged = staged
        self.fields["sheet"].choices = [(name, name) for name in staged.sheets]  # type: ignore[attr-defined]

    def clean_sheet(self) -> str:
        name = str(self.cleaned_data["sheet"])
        try:
            choose(self.staged, name)
        except RefusedFile as refusal:
            raise forms.ValidationError(str(refusal)) from None
        return name


class MatchForm(forms.Form):
    """A logbook column for each column of the sheet."""

    def __init__(self, *args: Any, staged: StagedSheet, centre: Centre, layout: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.staged, self.layout = staged, layout
        matched = self._decided() or suggest_matches(staged, layout, centre)
        choices = [("", "Leave out"), *grouped(layout)]
        for place, heading in enumerate(staged.grid["headings"]):
            self.fields[f"target_{place}"] = forms.ChoiceField(
                label=heading, choices=choices, required=False, initial=matched.get(place, "")
            )

    def _decided(self) -> dict[int, str]:
        if self.staged.decisions.get("layout") != self.layout:
            return {}
        columns = self.staged.decisions.get("columns", {})
        return {int(place): said.get("target", "") for place, said in columns.items()}

    def lines(self) -> Iterator[dict[str, Any]]:
        """Each column with examples of its cells and its list."""
        for place, heading in enumerate(self.staged.grid["headings"]):
            filled = [text_of(cell) for cell in column(self.staged, place) if cell is not None]
            examples = [text[:LONGEST_EXAMPLE] for text in dict.fromkeys(filled)][:EXAMPLES]
            yield {
                "heading": heading,
                "examples": examples,
                "filled": len(filled),
                "field": self[f"target_{place}"],
            }

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        chosen = [target for target in given.values() if target]
        known = targets(self.layout)
        for name, target in list(given.items()):
            if target and chosen.count(target) > 1:
                self.add_error(name, f"Two columns are matched to {known[target].label}.")
        for either in NEEDED[Layout(self.layout)]:
            if not set(either) & set(chosen):
                label = known[either[0]].label.partition(":")[0]
                self.add_error(None, f"Say which column holds: {label}.")
        return given

    def decide(self) -> None:
        """Store the matches; what was decided about a column stays while its match does."""
        before = self.staged.decisions.get("columns", {}) if self._decided() else {}
        columns = {}
        for place in range(len(self.staged.grid["headings"])):
            target = self.cleaned_data[f"target_{place}"]
            kept = before.get(str(place), {})
            columns[str(place)] = kept if kept.get("target") == target else {"target": target}
        self.staged.decisions = {
            **self.staged.decisions,
            "layout": self.layout,
            "columns": columns,
            "read": False,
        }


@dataclass(frozen=True)
class ColumnQuestions:
    """What has to be decided about one column: the names of its fields."""

    reading: ColumnReading
    fields: list[Any]
    proof: str = ""


class MeaningForm(forms.Form):
    """How the matched columns are read: units, order of day and month, words, missing times and columns."""

    def __init__(self, *args: Any, staged: StagedSheet, centre: Centre, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.staged, self.centre = staged, centre
        self.readings = readings(staged)
        self.names: dict[int, list[str]] = {how.place: [] for how in self.readings}
        self.proofs: dict[int, str] = {}
        for how in self.readings:
            said = {**self._remembered(how), **staged.decisions["columns"][str(how.place)]}
            self._ask_unit(how, said)
            self._ask_order(how, said)
            self._ask_words(how, said)
        self._ask_time()
        self._ask_same_for_all()

    def _remembered(self, how: ColumnReading) -> dict[str, Any]:
        match = remembered_reading(self.staged, how.place, self.centre)
        return {"unit": match.unit, "day_order": match.day_order, "words": match.words} if match else {}

    def _add(self, how: ColumnReading, name: str, field: forms.Field) -> None:
        self.fields[f"{name}_{how.place}"] = field
        self.names[how.place].append(f"{name}_{how.place}")

    def _ask_unit(self, how: ColumnReading, said: dict[str, Any]) -> None:
        units = units_of(how.target)
        named = unit_in(how.heading, how.target)
        proven = proven_unit(how.target, column(self.staged, how.place))
        if units and proven and named in ("", proven):
            words = next(unit.words for unit in units if unit.name == proven)
            self.proofs[how.place] = f"In {words}: any other unit would make some value impossible."
        elif units:
            own = how.target.field.unit
            choices = [
                CHOOSE,
                *((unit.name, f"{unit.words} → {own}" if unit.name != own else own) for unit in units),
            ]
            initial = said.get("unit") or named
            self._add(
                how, "unit", forms.ChoiceField(label="Unit in the sheet", choices=choices, initial=initial)
            )

    def _ask_order(self, how: ColumnReading, said: dict[str, Any]) -> None:
        kind = how.target.field.get_internal_type()
        if kind not in ("DateField", "DateTimeField") or how.target.part == Part.CLOCK:
            return
        found = evidence(column(self.staged, how.place))
        if found.proven:
            self.proofs[how.place] = (
                f"{DayOrder(found.proven).label}. A number above 12 in this column proves it."
            )
        elif found.needed:
            label = "Day or month first"
            if found.mixed:
                label = "Some cells prove day first, others month first. Which holds for most of the column?"
            choices = [CHOOSE, *DayOrder.choices]
            self._add(
                how,
                "day_order",
                forms.ChoiceField(label=label, choices=choices, initial=said.get("day_order", "")),
            )
        if found.maybe_swapped:
            label = (
                "The real dates here all fall on days 1 to 12, while the texts do not: a spreadsheet set to "
                "another order may have turned them. Have day and month been exchanged in the real dates?"
            )
            choices = [CHOOSE, ("no", "No, they are right"), ("yes", "Yes, exchange them back")]
            self._add(
                how,
                "swapped",
                forms.ChoiceField(label=label, choices=choices, initial=said.get("swapped", "")),
            )

    def _ask_words(self, how: ColumnReading, said: dict[str, Any]) -> None:
        field = how.target.field
        if not is_coded(field):
            return
        settled = said.get("words", {})
        texts = [text_of(cell) for cell in column(self.staged, how.place) if cell is not None]
        for number, word in enumerate(unsettled(field, texts, {})):
            initial = settled.get(fold(word), suggested(field, word))
            self._add(
                how,
                f"word_{number}",
                forms.ChoiceField(
                    label=f"“{word[:40]}” means",
                    choices=[CHOOSE, *codes_of(field), (EMPTY, "Nothing recorded")],
                    initial=EMPTY if initial == "" and fold(word) in settled else initial,
                ),
            )
            self.fields[f"word_{number}_{how.place}"].word = fold(word)  # type: ignore[attr-defined]

    def _ask_time(self) -> None:
        self.fields["assumed"] = forms.RegexField(
            r"^([01]?\d|2[0-3]):[0-5]\d$",
            label="Time of day where only a day stands",
            required=False,
            initial=self.staged.decisions.get("assumed", ""),
            help_text="For example 12:00; the record then says so. Empty: such cells are listed as problems.",
            error_messages={"invalid": "Write the time as 12:00."},
        )

    def _ask_same_for_all(self) -> None:
        if self.staged.decisions["layout"] != Layout.RUNS:
            return
        matched = {how.target.base for how in self.readings}
        said = self.staged.decisions.get("fixed", {})
        for name in SAME_FOR_ALL:
            if name not in matched:
                target = targets(Layout.RUNS)[name]
                self.fields[f"fixed_{name}"] = _same_field(target, said.get(name, ""))

    def questions(self) -> Iterator[ColumnQuestions]:
        """The columns about which something has to be said or is worth knowing."""
        for how in self.readings:
            if self.names[how.place] or how.place in self.proofs:
                fields = [self[name] for name in self.names[how.place]]
                yield ColumnQuestions(how, fields, self.proofs.get(how.place, ""))

    def same_for_all(self) -> list[Any]:
        """The fields for columns that the sheet does not have."""
        return [self[name] for name in self.fields if name.startswith("fixed_")]

    def decide(self) -> None:
        """Store the answers with the columns they are about."""
        given, columns = self.cleaned_data, self.staged.decisions["columns"]
        for how in self.readings:
            said: dict[str, Any] = {"target": how.target.id}
            columns[str(how.place)] = said
            for name in self.names[how.place]:
                kind = name.rpartition("_")[0]
                if kind.startswith("word_"):
                    word = self.fields[name].word  # type: ignore[attr-defined]
                    said.setdefault("words", {})[word] = "" if given[name] == EMPTY else given[name]
                else:
                    said[kind] = given[name]
        fixed = {name[6:]: value for name, value in given.items() if name.startswith("fixed_") and value}
        self.staged.decisions = {
            **self.staged.decisions,
            "assumed": given["assumed"],
            "fixed": fixed,
            "read": True,
        }


def _same_field(target: Target, initial: str) -> forms.Field:
    if is_coded(target.field):
        choices = [("", "Not the same for all"), *codes_of(target.field)]
        return forms.ChoiceField(label=target.label, choices=choices, required=False, initial=initial)
    if target.field.get_internal_type() == "BooleanField":
        choices = [("", "Not the same for all"), ("True", "Yes"), ("False", "No")]
        return forms.ChoiceField(label=target.label, choices=choices, required=False, initial=initial)
    if target.field.get_internal_type() == "DecimalField":
        return forms.DecimalField(label=target.label, required=False, initial=initial, localize=False)
    return forms.CharField(
        label=target.label, required=False, initial=initial, max_length=target.field.max_length
    )


class AnswersForm(forms.Form):
    """What a check left open: how rows relate, and why unusual values stand."""

    def __init__(self, *args: Any, staged: StagedSheet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.staged = staged
        said = staged.decisions.get("answers", {})
        self.row_names = []
        for question in staged.report.get("questions", []):
            name = f"row_{question['row']}"
            self.row_names.append(name)
            self.fields[name] = forms.ChoiceField(
                label=f"Row {question['row']}: {question['text']}",
                choices=[(choice, Link(choice).label) for choice in question["choices"]],
                widget=forms.RadioSelect,
                initial=said.get(str(question["row"])),
                required=False,
            )
            self.fields[name].as_list = True  # type: ignore[attr-defined]
        if staged.report.get("unusual"):
            self.fields["reason"] = forms.CharField(
                label="Why these stand",
                required=not staged.report["stops"],
                max_length=300,
                initial=staged.decisions.get("reason", ""),
                help_text="Kept with each of them, for example: compared with the procedure notes.",
            )
            self.fields["reason"].size = "long"  # type: ignore[attr-defined]

    def row_fields(self) -> list[Any]:
        """The fields of the questions about rows."""
        return [self[name] for name in self.row_names]

    def decide(self) -> None:
        """Store the answers."""
        answers = {name[4:]: self.cleaned_data[name] for name in self.row_names if self.cleaned_data[name]}
        said = self.staged.decisions
        self.staged.decisions = {
            **said,
            "answers": {**said.get("answers", {}), **answers},
            "reason": self.cleaned_data.get("reason", said.get("reason", "")),
        }
