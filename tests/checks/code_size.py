"""How long modules and functions are: `python tests/checks/code_size.py`."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "lightplan"


@dataclass(frozen=True)
class Body:
    """A function and how many lines of statements it has, without its docstring."""

    module: str
    name: str
    lines: int


def bodies() -> list[Body]:
    """Return every function of the package, the longest first."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        module = path.relative_to(PACKAGE).as_posix()
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                found.append(Body(module, node.name, _lines(node)))
    return sorted(found, key=lambda body: -body.lines)


def _lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from the first statement after the docstring to the last; functions inside count."""
    first, last = node.body[0], node.body[-1]
    is_doc = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    if is_doc and len(node.body) == 1:
        return 0
    begin = node.body[1] if is_doc else first
    assert last.end_lineno is not None
    return last.end_lineno - begin.lineno + 1


def modules() -> dict[str, int]:
    """Lines of every module."""
    paths = sorted(PACKAGE.rglob("*.py"))
    return {
        path.relative_to(PACKAGE).as_posix(): len(path.read_text("utf-8").splitlines())
        for path in paths
    }


def main() -> None:
    lines = sorted(modules().values())
    print(f"modules: {len(lines)}, median {lines[len(lines) // 2]} lines, longest {lines[-1]}")
    print(f"most lines: {[name for name, n in modules().items() if n > 380]}")
    long = [body for body in bodies() if body.lines > 30]
    print(f"bodies over 30 lines: {len(long)}")
    for body in long:
        print(f"  {body.lines:3d} {body.module} {body.name}")


if __name__ == "__main__":
    main()
