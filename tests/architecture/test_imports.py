"""Imports go down only, and importing the package loads nothing heavy."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "foreaft"
MODULES = sorted(PACKAGE.rglob("*.py"))

# Ground floor to roof. A part may import those before it, and itself.
FLOORS = ["base", "physics", "model", "track", "files", "logs", "plan", "drive", "optimum"]
FLOORS += ["laps", "learn", "report", "jobs", "web", "cli", "__main__"]

PHYSICS_MAY_IMPORT = {"numpy", "numba", "scipy", "foreaft.base", "foreaft.physics"}
COMPILERS = {"jit", "njit", "vectorize", "guvectorize", "cfunc", "jitclass"}


def label(module: Path) -> str:
    return module.relative_to(PACKAGE).as_posix()


def imported(module: Path) -> set[str]:
    """List what a module imports anywhere, inside functions too, as dotted names."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(module.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{label(module)}:{node.lineno}: relative import"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def floor(name: str) -> str:
    """Give the part of the package a dotted name belongs to; '' for the package itself."""
    part = name.split(".")[1] if "." in name else ""
    return "" if part.startswith("__version") else part


@pytest.mark.parametrize("module", MODULES, ids=label)
def test_imports_go_down_only(module: Path) -> None:
    own = module.relative_to(PACKAGE).parts[0].removesuffix(".py")
    used = {floor(name) for name in imported(module) if name.split(".")[0] == "foreaft"} - {""}
    if own == "__init__":
        assert not used, "the package itself imports none of its parts"
        return
    assert own in FLOORS, f"{own} is no part of the house: give it a floor in FLOORS"
    above = {part for part in used if FLOORS.index(part) > FLOORS.index(own)}
    assert not above, f"{label(module)} imports upward: {sorted(above)}"


@pytest.mark.parametrize("module", sorted(PACKAGE.glob("physics/**/*.py")), ids=label)
def test_physics_knows_only_arrays(module: Path) -> None:
    def allowed(name: str) -> bool:
        parts = name.split(".")
        return (
            parts[0] in sys.stdlib_module_names
            or parts[0] in PHYSICS_MAY_IMPORT
            or ".".join(parts[:2]) in PHYSICS_MAY_IMPORT
        )

    foreign = {name for name in imported(module) if not allowed(name)}
    assert not foreign, f"{label(module)} imports {sorted(foreign)}"


@pytest.mark.parametrize("module", MODULES, ids=label)
def test_one_decorator_compiles(module: Path) -> None:
    if label(module) == "base/kernel.py":
        return
    for node in ast.walk(ast.parse(module.read_text("utf-8"))):
        name = getattr(node, "attr", None) or getattr(node, "id", None)
        assert name not in COMPILERS, f"{label(module)}:{node.lineno}: use foreaft.base.kernel"


@pytest.mark.parametrize("heavy", ["numba", "scipy", "pydantic", "typst", "clarabel"])
def test_importing_the_package_loads_nothing_heavy(heavy: str) -> None:
    code = f"import sys, foreaft; sys.exit({heavy!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_check_sees_an_import_inside_a_function(tmp_path: Path) -> None:
    module = tmp_path / "one.py"
    module.write_text("def f():\n    from foreaft.cli import main\n", "utf-8")
    assert floor(imported(module).pop()) == "cli"
