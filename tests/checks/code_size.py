"""How long modules and bodies of functions are: `python tests/checks/code_size.py`.

A body is counted in full lines: each statement takes as many lines of 100 columns as its text
needs, however the formatter spreads its arguments. Docstrings do not count.
"""

from __future__ import annotations

import ast
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

PACKAGE = Path(__file__).parents[2] / "lightplan"
COLUMNS = 100
INDENT = 4
MOST = 30
NUMERICS = ("geometry", "optics", "scene", "light", "measures", "merit", "mirror", "search")
NUMERICS += ("estimate", "shots/sheet")
"""Rooms whose bodies may be longer (40): a formula that is torn apart is harder to check."""
MOST_NUMERICS = 40
_BLOCKS = ("body", "orelse", "finalbody")


@dataclass(frozen=True)
class Body:
    """A function and how many full lines it has."""

    module: str
    name: str
    lines: int

    @property
    def most(self) -> int:
        """How many it may have."""
        return MOST_NUMERICS if self.module.startswith(NUMERICS) else MOST


def bodies() -> list[Body]:
    """Return every function of the package, the longest first."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        module = path.relative_to(PACKAGE).as_posix()
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                found.append(Body(module, node.name, full_lines(node)))
    return sorted(found, key=lambda body: -body.lines)


def full_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return the lines of a function's body.

    >>> text = "def f(x):\\n    'Doc.'\\n    if x:\\n        return g(\\n            1,\\n        )"
    >>> full_lines(ast.parse(text).body[0])
    2
    """
    first = function.body[0]
    is_doc = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    return _lines(function.body[1:] if is_doc else function.body, INDENT)


def _lines(statements: Iterable[ast.stmt | ast.ExceptHandler | ast.match_case], deep: int) -> int:
    return sum(_of(statement, deep) for statement in statements)


def _of(node: ast.stmt | ast.ExceptHandler | ast.match_case, deep: int) -> int:
    inside = [getattr(node, name, None) or [] for name in (*_BLOCKS, "handlers", "cases")]
    if not any(inside):
        return _full(ast.unparse(node), deep)
    head = ast.unparse(node).partition("\n")[0]
    has_else = bool(getattr(node, "orelse", None)) + bool(getattr(node, "finalbody", None))
    return _full(head, deep) + has_else + sum(_lines(part, deep + INDENT) for part in inside)


def _full(text: str, deep: int) -> int:
    return sum(-(-len(line) // (COLUMNS - deep)) for line in text.splitlines())


def modules() -> dict[str, int]:
    """Return the lines of every module."""
    paths = sorted(PACKAGE.rglob("*.py"))
    return {
        path.relative_to(PACKAGE).as_posix(): len(path.read_text("utf-8").splitlines())
        for path in paths
    }


def main() -> None:
    """Print the figures of DEVELOPERS.md."""
    lines = sorted(modules().values())
    print(f"modules: {len(lines)}, median {lines[len(lines) // 2]} lines, longest {lines[-1]}")
    print(f"bodies longer than {MOST} ({MOST_NUMERICS} in numerics):")
    for body in bodies():
        if body.lines > body.most:
            print(f"  {body.lines} {body.module} {body.name}")
    print(f"bodies of {MOST + 1} to {MOST_NUMERICS} in numerics:")
    for body in bodies():
        if MOST < body.lines <= body.most:
            print(f"  {body.lines} {body.module} {body.name}")


if __name__ == "__main__":
    main()
