"""Who uses an estimator is found from the source, directly and through other estimators."""

import ast

import pytest
from django.conf import settings

from outcomes.handbook.uses import Uses

FILES = {
    "estimators/rates.py": """
from outcomes.estimators.base import check_count
def rate(events): return _METHODS["exact"](events)
def exact_limits(events): check_count(events)
def rate_difference(events): check_count(events)
_METHODS: dict = {"exact": exact_limits}
""",
    "estimators/base.py": "def check_count(count): ...",
    "estimators/cusum.py": "def poisson_cusum(): ...",
    "measures/making.py": "from outcomes.estimators.rates import PER_DEVICE_DAYS, rate as found",
    "report/__init__.py": "def build():\n    from outcomes.estimators.rates import rate",
}


@pytest.fixture
def uses(tmp_path):
    for name, text in FILES.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    return Uses(tmp_path)


@pytest.mark.parametrize(
    ("module", "function", "words"),
    [
        ("rates", "rate", "Used by: `measures.making`, `report`."),
        ("rates", "exact_limits", "Used through: `rates`."),
        ("base", "check_count", "Used through: `rates`."),
        ("rates", "rate_difference", "Not used by a page yet."),
        ("cusum", "poisson_cusum", "Not used by a page yet."),
    ],
)
def test_says_who_uses_a_function(uses, module, function, words):
    assert uses.said(module, function) == words
    assert uses.unused(module, function) == words.startswith("Not")


def test_estimators_are_imported_by_name_so_that_every_use_is_seen():
    for path in (settings.BASE_DIR / "outcomes").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert not any(alias.name.startswith("outcomes.estimators") for alias in node.names), path
            elif isinstance(node, ast.ImportFrom):
                taken = {f"{node.module}.{alias.name}" for alias in node.names}
                assert "outcomes.estimators" not in {node.module, *taken}, path
