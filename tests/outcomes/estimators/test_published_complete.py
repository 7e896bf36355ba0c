"""Every published value known to us is a test, or says why not; ``known_values.json`` lists them all."""

import json
from pathlib import Path

import pytest

from outcomes.handbook.checks import Checks

HERE = Path(__file__).parent
LISTED = json.loads((HERE / "known_values.json").read_text(encoding="utf-8"))
CHECKS = Checks(HERE)


@pytest.mark.parametrize("id", LISTED["tested"])
def test_is_read_by_a_test(id):
    users = [test.name for tests in CHECKS.tests.values() for test in tests if id in test.examples]
    assert users, f"no test reads {id}"


@pytest.mark.parametrize("id", LISTED["exempt"])
def test_an_exemption_has_a_reason_and_no_data(id):
    assert len(LISTED["exempt"][id]) > 40
    assert id not in CHECKS.examples


def test_every_example_is_used():
    used = {id for tests in CHECKS.tests.values() for test in tests for id in test.examples}
    assert used == set(CHECKS.examples)


def test_every_example_names_its_source():
    assert all(example.source and example.standing for example in CHECKS.examples.values())
