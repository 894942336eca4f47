"""Small pieces: no module that knows everything, no function that does everything."""

from __future__ import annotations

import ast
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "foreaft"
MODULES = sorted(PACKAGE.rglob("*.py"))

MODULE_LINES_MAX = 700
FUNCTION_LINES_MAX = 80
FUNCTION_LINES_LONG = 60

Function = ast.FunctionDef | ast.AsyncFunctionDef


def label(module: Path) -> str:
    return module.relative_to(PACKAGE).as_posix()


def functions(tree: ast.AST) -> Iterator[Function]:
    return (node for node in ast.walk(tree) if isinstance(node, Function))


def body_lines(function: Function) -> int:
    """Count a function's lines without its docstring, which may be as long as it needs to be."""
    lines = (function.end_lineno or function.lineno) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function) is not None:
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


@pytest.mark.parametrize("module", MODULES, ids=label)
def test_modules_are_short(module: Path) -> None:
    lines = len(module.read_text("utf-8").splitlines())
    assert lines <= MODULE_LINES_MAX, f"{label(module)} has {lines} lines: split it"


@pytest.mark.parametrize("module", MODULES, ids=label)
def test_functions_are_short(module: Path) -> None:
    sizes = {
        f"{label(module)}:{one.lineno} {one.name}": body_lines(one)
        for one in functions(ast.parse(module.read_text("utf-8")))
    }
    for where, lines in sizes.items():
        if FUNCTION_LINES_LONG < lines <= FUNCTION_LINES_MAX:
            warnings.warn(f"{where} is long: {lines} lines", stacklevel=1)
    too_long = {where: lines for where, lines in sizes.items() if lines > FUNCTION_LINES_MAX}
    assert not too_long, f"longer than {FUNCTION_LINES_MAX} lines: {too_long}"


@pytest.mark.parametrize("module", MODULES, ids=label)
def test_modules_say_what_they_are_for(module: Path) -> None:
    public = module.name == "__init__.py" or not module.name.startswith("_")
    if public:
        assert ast.get_docstring(ast.parse(module.read_text("utf-8"))), label(module)


def test_a_docstring_does_not_count() -> None:
    source = 'def f():\n    """One.\n\n    Two.\n    """\n    return 1\n'
    assert body_lines(next(functions(ast.parse(source)))) == 2
