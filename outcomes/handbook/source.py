"""Read the estimators' source: signatures and words, without importing or running anything."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path


@dataclass(frozen=True)
class Member:
    """A public function, or the class of a result."""

    name: str
    signature: str
    words: str


@dataclass(frozen=True)
class Module:
    """A module of estimators."""

    path: Path

    @property
    def name(self) -> str:
        return self.path.stem

    @cached_property
    def _tree(self) -> ast.Module:
        return ast.parse(self.path.read_text(encoding="utf-8"))

    @property
    def words(self) -> str:
        """What the module says about itself."""
        return ast.get_docstring(self._tree) or ""

    @property
    def functions(self) -> list[Member]:
        """Public functions, in the order of the file."""
        return [
            Member(node.name, _signature(node), ast.get_docstring(node) or "")
            for node in self._tree.body
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
        ]

    @property
    def results(self) -> list[Member]:
        """Public classes, with the fields of their own."""
        return [
            Member(node.name, ", ".join(_fields(node)), ast.get_docstring(node) or "")
            for node in self._tree.body
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
        ]


def _signature(node: ast.FunctionDef) -> str:
    returned = f" -> {ast.unparse(node.returns)}" if node.returns else ""
    return f"{node.name}({ast.unparse(node.args)}){returned}"


def _fields(node: ast.ClassDef) -> list[str]:
    return [
        part.target.id
        for part in node.body
        if isinstance(part, ast.AnnAssign) and isinstance(part.target, ast.Name)
    ]
