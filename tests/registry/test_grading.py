"""Proposed grades against the published criteria, each row with the words it holds to."""

from __future__ import annotations

from typing import Any

import pytest

from registry import grading


def grade(proposal: grading.Proposal | None) -> str | None:
    return str(proposal.grade) if proposal else None


# Mehran R et al., Circulation 2011;123:2736–2747, doi:10.1161/CIRCULATIONAHA.110.009449, table 3.
@pytest.mark.parametrize(("values", "expected"), [
    ({}, None),
    ({"actions": ["NONE"]}, "1"),  # not actionable
    ({"actions": ["DRUG"]}, "2"),  # overt, actionable
    ({"drop_g_dl": 2.9, "actions": ["DRUG"]}, "2"),
    ({"drop_g_dl": 3.0}, "3a"),  # drop of 3 to < 5 g/dL
    ({"drop_g_dl": 4.9}, "3a"),
    ({"red_cell_units": 1}, "3a"),  # any transfusion with overt bleeding
    ({"actions": ["TRANSFUSE"]}, "3a"),
    ({"drop_g_dl": 5.0}, "3b"),  # drop >= 5 g/dL; a stored table misprints it as "< 5"
    ({"actions": ["SURGERY"], "red_cell_units": 1}, "3b"),  # surgical control
    ({"site": "INTRACRANIAL", "drop_g_dl": 1.0}, "3c"),
    ({"site": "INTRACRANIAL", "resolution": "DEATH"}, "5b"),
    ({"red_cell_units": 0, "drop_g_dl": 0.0}, None),
])  # fmt: skip
def test_barc(values: dict[str, Any], expected: str | None) -> None:
    assert grade(grading.propose_barc(**values)) == expected


# Schulman S, Kearon C, J Thromb Haemost 2005;3:692–694, doi:10.1111/j.1538-7836.2005.01204.x.
@pytest.mark.parametrize(("values", "expected"), [
    ({"resolution": "DEATH"}, True),
    ({"site": "RETROPERITONEAL"}, True),
    ({"site": "INTRACRANIAL"}, True),
    ({"drop_g_dl": 2.0}, True),
    ({"red_cell_units": 2}, True),
    ({"site": "ACCESS", "drop_g_dl": 1.9, "red_cell_units": 1}, False),
    ({"site": "ACCESS", "drop_g_dl": 1.9}, None),
    ({}, None),
])  # fmt: skip
def test_isth_major(values: dict[str, Any], expected: bool | None) -> None:
    assert grading.isth_major(**values) is expected


# Rutherford RB et al., J Vasc Surg 1997;26:517–538, doi:10.1016/S0741-5214(97)70045-4, table I.
@pytest.mark.parametrize(("values", "expected"), [
    ({"neuro": "NORMAL", "pulse": "PRESENT"}, "I"),
    ({"neuro": "NORMAL", "pulse": "DOPPLER_ONLY"}, "I"),
    ({"neuro": "NORMAL", "pulse": "ABSENT"}, "IIa"),
    ({"neuro": "SENSORY", "pulse": "DOPPLER_ONLY"}, "IIa"),
    ({"neuro": "MOTOR"}, "IIb"),
    ({"neuro": "BOTH", "pulse": "ABSENT"}, "IIb"),
    ({"action": "AMPUTATION"}, "III"),
    ({"neuro": "NORMAL"}, None),
    ({}, None),
])  # fmt: skip
def test_rutherford(values: dict[str, Any], expected: str | None) -> None:
    assert grade(grading.propose_rutherford(**values)) == expected


# KDIGO, Kidney Int Suppl 2012;2:1–138, doi:10.1038/kisup.2012.1, table 2. Some reprints give the rise as
# 26.5 mmol/L and stage 2 as 1.0–2.9 times; both are misprints.
@pytest.mark.parametrize(("values", "expected"), [
    ({"baseline_umol_l": 100, "highest_umol_l": 149}, None),
    ({"baseline_umol_l": 100, "highest_umol_l": 150}, "1"),
    ({"baseline_umol_l": 100, "highest_umol_l": 199}, "1"),
    ({"baseline_umol_l": 100, "highest_umol_l": 200}, "2"),
    ({"baseline_umol_l": 100, "highest_umol_l": 299}, "2"),
    ({"baseline_umol_l": 100, "highest_umol_l": 300}, "3"),
    ({"rise_48h_umol_l": 26.4}, None),
    ({"rise_48h_umol_l": 26.5}, "1"),
    ({"baseline_umol_l": 340, "highest_umol_l": 354, "rise_48h_umol_l": 14}, None),  # no injury yet
    ({"baseline_umol_l": 300, "highest_umol_l": 354, "rise_48h_umol_l": 54}, "3"),
    ({"renal_replacement": True}, "3"),
    ({}, None),
])  # fmt: skip
def test_kdigo(values: dict[str, Any], expected: str | None) -> None:
    assert grade(grading.propose_kdigo(**values)) == expected


# Naidu SS et al., J Am Coll Cardiol 2022;79:933–946, doi:10.1016/j.jacc.2022.01.018, table 2.
@pytest.mark.parametrize(("values", "expected"), [
    ({"lactate_mmol_l": 1.9}, None),
    ({"lactate_mmol_l": 2.0}, "C"),
    ({"lactate_mmol_l": 7.9, "vasopressors": True}, "C"),
    ({"lactate_mmol_l": 8.0}, "E"),
    ({"inotropes": True}, "C"),
    ({"vasopressors": False}, None),
    ({}, None),
])  # fmt: skip
def test_shock_stage(values: dict[str, Any], expected: str | None) -> None:
    assert grade(grading.propose_stage(**values)) == expected


def test_a_proposal_says_why() -> None:
    proposal = grading.propose_barc(drop_g_dl=3.5)
    assert proposal is not None
    assert proposal.because == "haemoglobin fell by 3.5 g/dL"
