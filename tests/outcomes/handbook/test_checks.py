"""Which examples a test reads is found through the helpers and constants of its file."""

from outcomes.handbook.checks import Checks

EXAMPLES = (
    '{"rd-mn-a": {"source": "A", "standing": "printed"}, "rate-b": {"source": "B", "standing": "printed"}}'
)
TEST_FILE = """
PREFIXES = {"rd-mn-": "MN"}
def helper():
    return risk_difference(known("rate-b"))
def test_limits():
    assert helper()
def test_all():
    assert PREFIXES
def test_other():
    assert rate(1) == "rate"
"""


def test_reads_names_texts_and_beginnings(tmp_path):
    (tmp_path / "published_x.json").write_text(EXAMPLES, encoding="utf-8")
    (tmp_path / "test_differences.py").write_text(TEST_FILE, encoding="utf-8")
    checks = Checks(tmp_path)
    found = {test.said: test.examples for test in checks.tests["differences"]}
    assert found == {"limits": {"rate-b"}, "all": {"rd-mn-a"}, "other": set()}
    assert [test.name for test in checks.of("differences", "risk_difference")] == ["test_limits"]
    assert checks.of("absent", "risk_difference") == []
