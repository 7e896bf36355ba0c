"""The data dictionary is complete, current and agrees with the tiers."""

import re

import pytest
from django.conf import settings
from django.core.management import call_command

from registry import dictionary
from registry.fields import CORE
from registry.models import Course, Event, PatientIdentity
from registry.tables.layout import TABLE_OF
from registry.tiers import EXTENDED_GROUPS

DOCS = settings.BASE_DIR / "docs"


def test_the_document_is_current():
    written = (DOCS / "data-dictionary.md").read_text(encoding="utf-8")
    assert written == dictionary.text(), "run manage.py data_dictionary"


def test_the_command_writes_it(tmp_path, capsys):
    call_command("data_dictionary", str(tmp_path / "words.md"))
    assert (tmp_path / "words.md").read_text(encoding="utf-8") == dictionary.text()


@pytest.mark.parametrize("model", dictionary.described_models(), ids=lambda model: model.__name__)
def test_every_described_column_has_an_entry_and_a_place_in_a_file(model):
    names = [entry.column for entry in dictionary.entries(model)]
    assert names == [field.name for field in model.described()]
    if model is not PatientIdentity:
        assert set(names) <= set(TABLE_OF[model].columns)


def test_the_identity_is_in_no_file():
    assert PatientIdentity not in TABLE_OF


def test_a_coded_column_names_its_list_and_a_number_its_ranges():
    entries = {entry.column: entry for entry in dictionary.entries(Course)}
    assert entries["shock_stage"].codes["C"] == "C: classic"
    assert entries["shock_stage"].code_list == "Shock stage"
    assert (entries["height_cm"].unit, entries["height_cm"].hard) == ("cm", (100, 230))
    assert entries["height_cm"].required == ""


def test_required_says_for_which_kind_of_event():
    entries = {entry.column: entry for entry in dictionary.entries(Event)}
    assert entries["barc"].required == "for BLEEDING"
    assert entries["onset_at"].required == "yes"


def test_no_two_code_lists_share_a_title_or_an_anchor():
    titles = [dictionary._title(name) for name in ("BalloonVolume", "Sex", "FollowUpPoint")]
    assert titles == ["Balloon volume", "Sex", "Follow up point"]
    headings = re.findall(r"^#+ (.+)$", dictionary.text(), re.MULTILINE)
    assert len(headings) == len(set(headings))


def groups_in_models():
    found: dict[str, set[str]] = {}
    for model in dictionary.described_models():
        for entry in dictionary.entries(model):
            found.setdefault(entry.group, set()).add(f"{entry.entity}.{entry.column}")
    return found


def test_every_group_is_described_and_used():
    assert set(groups_in_models()) == {CORE, *EXTENDED_GROUPS}


def test_the_tiers_document_lists_each_group_exactly():
    text = (DOCS / "tiers.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \| (.+?) \|", text, re.MULTILINE)
    listed = {group: set(re.findall(r"`([\w.]+)`", columns)) for group, columns in rows}
    expected = {group: names for group, names in groups_in_models().items() if group != CORE}
    assert listed == expected
