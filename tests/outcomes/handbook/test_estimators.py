"""The page of the estimators is current and complete."""

import re

from django.conf import settings

from outcomes.handbook import estimators
from outcomes.handbook.checks import Checks
from outcomes.handbook.source import Module

CODE = settings.BASE_DIR / estimators.CODE
MODULES = [Module(path) for path in sorted(CODE.glob("*.py")) if path.stem != "__init__"]


def test_the_document_is_current():
    written = (settings.BASE_DIR / "docs" / "estimators.md").read_text(encoding="utf-8")
    assert written == estimators.text(), "run manage.py handbook"


def test_every_module_has_one_chapter():
    named = [name for _, names in estimators.CHAPTERS for name in names]
    assert sorted(named) == [module.name for module in MODULES]


def test_every_public_function_stands_on_the_page_with_words_and_a_working_link():
    page = estimators.text()
    headings = {re.sub(r"[^\w]", "", h) for h in re.findall(r"^#### `(.+)`$", page, re.MULTILINE)}
    assert headings == set(re.findall(r"\]\(#(\w+)\)", page))
    for module in MODULES:
        for function in module.functions:
            assert function.words, f"{module.name}.{function.name} has no docstring"
            assert estimators.anchor(module, function) in headings


def test_a_source_is_named_for_every_estimator():
    """In the function's own words, in its module's, or with a value it is held to."""
    checks = Checks(settings.BASE_DIR / estimators.TESTS)
    shared = estimators.CHAPTERS[-1][1]
    for module in MODULES:
        if module.name in shared:
            continue
        words = " ".join([module.words, *(function.words for function in module.functions)])
        examples = [id for test in checks.tests[module.name] for id in test.examples]
        assert "doi:" in words or examples, f"{module.name} names no source"
