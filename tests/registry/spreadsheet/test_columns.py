"""What headings mean, and which unit they name."""

import pytest

from registry.spreadsheet.columns import KNOWN_HEADINGS, Layout, guess, targets
from registry.spreadsheet.units import UNITS, factor, proven_unit, unit_in, units_of
from registry.spreadsheet.words import KNOWN_WORDS, codes_of, suggested


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("MRN", "identity.record_number"),
        ("Date of birth", "patient.birth_year"),
        ("SCAI", "course.shock_stage"),
        ("Insertion / Date", "run.inserted_at:day"),
        ("Date / Insertion", "run.inserted_at:day"),
        ("Explant time", "run.removed_at:time"),
        ("Creatinine (mg/dL)", "course.creatinine_umol_l"),
        ("Catheter size (Fr)", "run.catheter_fr"),
        ("  balloon   VOLUME ", "run.balloon_volume_ml"),
        ("Technical sucess", "run.technical_success"),
        ("Weather", None),
        ("", None),
    ],
)
def test_headings(heading: str, target: str | None) -> None:
    assert guess([heading], Layout.RUNS).get(0) == target


def test_each_target_is_given_once_to_the_closest() -> None:
    assert guess(["Routes", "Route"], Layout.RUNS) == {1: "run.route"}


def test_every_known_heading_names_a_target() -> None:
    both = {**targets(Layout.RUNS), **targets(Layout.EVENTS)}
    assert set(KNOWN_HEADINGS) <= set(both)


def test_every_known_word_means_a_code_that_exists() -> None:
    both = {**targets(Layout.RUNS), **targets(Layout.EVENTS)}
    for name, words in KNOWN_WORDS.items():
        known = {
            code for target in both.values() if target.name == name for code, _ in codes_of(target.field)
        }
        assert set(words.values()) <= known, name


@pytest.mark.parametrize(
    ("word", "code"),
    [
        ("L ax", "AXILLARY_L"),
        ("Right Femoral", "FEMORAL_R"),
        ("left axilary", "AXILLARY_L"),
        ("shoulder", ""),
    ],
)
def test_words_are_suggested(word: str, code: str) -> None:
    assert suggested(targets(Layout.RUNS)["run.route"].field, word) == code


def test_a_number_with_its_unit_suggests_the_code() -> None:
    assert suggested(targets(Layout.RUNS)["run.balloon_volume_ml"].field, "40 cc") == "40"


# Units

CREATININE = targets(Layout.RUNS)["course.creatinine_umol_l"]
HEIGHT = targets(Layout.RUNS)["course.height_cm"]


def test_every_unit_belongs_to_a_column_and_the_first_is_its_own() -> None:
    both = {**targets(Layout.RUNS), **targets(Layout.EVENTS)}
    for name, units in UNITS.items():
        owners = [target for target in both.values() if target.name == name]
        assert owners, name
        assert all(target.field.unit == units[0].name for target in owners)


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Creatinine (mg/dL)", "mg/dL"),
        ("Creatinine, umol/l", "µmol/L"),
        ("Cr [μmol/L]", "µmol/L"),
        ("Creatinine", ""),
    ],
)
def test_units_in_headings(heading: str, unit: str) -> None:
    assert unit_in(heading, CREATININE) == unit


def test_a_creatinine_of_one_point_five_milligrams() -> None:
    """0.3 mg/dL are 26.5 µmol/L: KDIGO 2012, Kidney Int Suppl 2012;2:1–138, doi:10.1038/kisup.2012.1."""
    assert round(float(factor(CREATININE, "mg/dL")) * 0.3, 1) == 26.5


@pytest.mark.parametrize(
    ("cells", "unit"),
    [([70, 64.5], "in"), ([178, "165"], "cm"), ([1.78], "m"), ([178, 70], ""), ([], ""), ([None, "?"], "")],
)
def test_a_unit_is_proven_only_if_all_values_need_it(cells: list[object], unit: str) -> None:
    assert proven_unit(HEIGHT, cells) == unit


def test_other_columns_have_no_choice_of_units() -> None:
    assert not units_of(targets(Layout.RUNS)["run.route"])
