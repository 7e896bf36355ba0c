"""Find out from the tests which published examples, and which other tests, hold an estimator to its word."""

from __future__ import annotations

import ast
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Example:
    """A worked example. ``standing`` says whether its value was printed, recalled or computed."""

    id: str
    source: str
    standing: str


@dataclass(frozen=True)
class Test:
    """A test function: the names it uses, and the examples it reads, helpers of its file included."""

    name: str
    names: frozenset[str]
    examples: frozenset[str]

    @property
    def said(self) -> str:
        """Its name as words."""
        return self.name.removeprefix("test_").replace("_", " ")


@dataclass(frozen=True)
class Checks:
    """The tests of the estimators in one folder."""

    folder: Path

    @cached_property
    def examples(self) -> dict[str, Example]:
        """Every example of the data files beside the tests, by its id."""
        found: dict[str, Any] = {}
        for path in sorted(self.folder.glob("published_*.json")):
            found |= json.loads(path.read_text(encoding="utf-8"))
        return {id: Example(id, entry["source"], entry["standing"]) for id, entry in found.items()}

    @cached_property
    def tests(self) -> dict[str, list[Test]]:
        """The tests of each module of estimators, by the module's name."""
        return {
            path.stem.removeprefix("test_"): list(self._tests(path))
            for path in sorted(self.folder.glob("test_*.py"))
        }

    def of(self, module: str, function: str) -> list[Test]:
        """Tests in the module's own file that use the function."""
        return [test for test in self.tests.get(module, []) if function in test.names]

    def _tests(self, path: Path) -> Iterator[Test]:
        parts = _parts(ast.parse(path.read_text(encoding="utf-8")))
        for name, node in parts.items():
            if name.startswith("test_"):
                names, texts = _used(node, parts)
                yield Test(name, frozenset(names), frozenset(self._meant(texts)))

    def _meant(self, texts: set[str]) -> Iterator[str]:
        """Examples named in full, or by the beginning of their names ("rd-mn-")."""
        beginnings = tuple(text for text in texts if text.endswith("-") and len(text) > 1)
        yield from (id for id in self.examples if id in texts or id.startswith(beginnings))


def _parts(tree: ast.Module) -> dict[str, ast.AST]:
    """What stands at the top level of a file, by name."""
    found: dict[str, ast.AST] = {}
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found[node.name] = node
        elif isinstance(node, ast.Assign):
            found |= {target.id: node for target in node.targets if isinstance(target, ast.Name)}
    return found


def _used(node: ast.AST, parts: dict[str, ast.AST]) -> tuple[set[str], set[str]]:
    """Names and texts in a test and, through them, in the other parts of its file."""
    names: set[str] = set()
    texts: set[str] = set()
    waiting = [node]
    while waiting:
        for inner in ast.walk(waiting.pop()):
            if isinstance(inner, ast.Constant) and isinstance(inner.value, str):
                texts.add(inner.value)
            elif isinstance(inner, ast.Name) and inner.id not in names:
                names.add(inner.id)
                waiting += [parts[inner.id]] if inner.id in parts else []
    return names, texts
