"""Find out from the source which estimators the product's figures use, without importing anything."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

ESTIMATORS = "outcomes.estimators."
Name = tuple[str, str]  # module of estimators, what stands there at the top level


@dataclass(frozen=True)
class Uses:
    """Who uses the estimators in one folder, the package ``outcomes``."""

    folder: Path

    @cached_property
    def direct(self) -> dict[Name, set[str]]:
        """Modules outside the estimators that import a name, such as ``comparison.timing``."""
        found: dict[Name, set[str]] = defaultdict(set)
        for path in sorted(self.folder.rglob("*.py")):
            place = path.relative_to(self.folder).with_suffix("").parts
            if place[0] != "estimators":
                for name in _imports(_tree(path)).values():
                    found[name].add(".".join(part for part in place if part != "__init__"))
        return dict(found)

    @cached_property
    def through(self) -> dict[Name, set[str]]:
        """Modules of estimators with a name of ``direct`` that needs a name in turn."""
        found: dict[Name, set[str]] = defaultdict(set)
        for name in self.direct:
            for needed in self._needed(name):
                found[needed].add(name[0])
        return dict(found)

    def said(self, module: str, function: str) -> str:
        """One sentence on a function."""
        name = (module, function)
        for words, users in (("Used by", self.direct.get(name)), ("Used through", self.through.get(name))):
            if users:
                return f"{words}: {', '.join(f'`{user}`' for user in sorted(users))}."
        return "Not used by a page yet."

    def unused(self, module: str, function: str) -> bool:
        """Whether no figure of the product comes to the function."""
        return (module, function) not in self.direct | self.through

    @cached_property
    def _needs(self) -> dict[Name, set[Name]]:
        """What each top-level name of the estimators names in turn."""
        found = {}
        for path in sorted((self.folder / "estimators").glob("*.py")):
            tree = _tree(path)
            parts = dict(_parts(tree))
            known = _imports(tree) | {name: (path.stem, name) for name in parts}
            for name, part in parts.items():
                named = {node.id for node in ast.walk(part) if isinstance(node, ast.Name)}
                found[path.stem, name] = {known[other] for other in named & known.keys()}
        return found

    def _needed(self, name: Name) -> set[Name]:
        found: set[Name] = set()
        waiting = [name]
        while waiting:
            new = self._needs.get(waiting.pop(), set()) - found
            found |= new
            waiting += new
        return found


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _imports(tree: ast.Module) -> dict[str, Name]:
    """What a file imports from the estimators, by the name it has in the file."""
    return {
        alias.asname or alias.name: (node.module.removeprefix(ESTIMATORS), alias.name)
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith(ESTIMATORS)
        for alias in node.names
    }


def _parts(tree: ast.Module) -> Iterator[tuple[str, ast.stmt]]:
    """Functions, classes and constants at the top level of a file."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name, node
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            yield from ((target.id, node) for target in targets if isinstance(target, ast.Name))
