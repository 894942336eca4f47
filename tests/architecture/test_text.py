"""What must stand in no file of the project: addresses of registries, paths of one machine."""

from __future__ import annotations

import ast
import re
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]

# Written in pieces, or this file would fail its own test.
HOSTS = ["pypi" + r"\.org", "python" + r"hosted\.org", "npm" + r"js\.(org|com)", "yarnpkg" + r"\."]
HOSTS += ["deb" + r"\.debian\.org", "crates" + r"\.io", "proxy" + r"\.golang\.org"]
FOLDERS = ["work", "root", "tmp", "home", "opt/wheels", "opt/pypi"]
FORBIDDEN = {
    "registry address": re.compile("|".join(HOSTS)),
    "machine path": re.compile(r"(?<![\w.~<}\])-])/(" + "|".join(FOLDERS) + r")(?![\w-])"),
    "resolved address": re.compile('"resol' + 'ved"\\s*:'),
}
AMBIGUOUS = "bi" + "as"


def project_files() -> list[Path]:
    """List tracked files and those about to be."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    try:
        out = subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout.decode()
    except (OSError, subprocess.CalledProcessError):
        return []
    return [ROOT / name for name in sorted(out.split("\0")) if name and (ROOT / name).is_file()]


FILES = project_files()
needs_git = pytest.mark.skipif(not FILES, reason="not a git checkout")


def findings(text: str) -> list[str]:
    return [
        f"{number}: {what}: {line.strip()[:80]}"
        for number, line in enumerate(text.splitlines(), 1)
        for what, pattern in FORBIDDEN.items()
        if pattern.search(line)
    ]


def text_of(path: Path) -> str | None:
    """Give a file's text, or nothing where it is not text."""
    try:
        return path.read_text("utf-8")
    except UnicodeDecodeError:
        return None


@needs_git
def test_no_registry_and_no_machine_path() -> None:
    found = {
        str(path.relative_to(ROOT)): wrong
        for path in FILES
        if (text := text_of(path)) is not None and (wrong := findings(text))
    }
    assert not found


@pytest.mark.parametrize(
    "line",
    [
        "https://" + "pypi" + ".org/simple",
        'cd "/wo' + 'rk/main"',
        "open('/tm" + "p/x')",
        '  "resol' + 'ved": "x"',
        "--find-links=/op" + "t/wheels",
    ],
)
def test_the_scan_finds(line: str) -> None:
    assert findings(line)


@pytest.mark.parametrize("line", ["</root>", "src/home/x", "/usr/bin/chromium", "a/work"])
def test_the_scan_leaves_alone(line: str) -> None:
    assert not findings(line)


def identifiers(tree: ast.AST) -> set[str]:
    fields = ("id", "attr", "arg", "name", "asname")
    parts = [getattr(node, field, None) for node in ast.walk(tree) for field in fields]
    return {part for part in parts if isinstance(part, str)}


def keys(table: Any) -> set[str]:
    if isinstance(table, dict):
        return set(table).union(*(keys(value) for value in table.values()))
    if isinstance(table, list):
        return set().union(*(keys(value) for value in table))
    return set()


@needs_git
def test_the_ambiguous_word_names_nothing() -> None:
    names: dict[str, set[str]] = {}
    for path in FILES:
        if path.suffix == ".py":
            names[str(path)] = identifiers(ast.parse(path.read_text("utf-8")))
        elif path.suffix == ".toml":
            names[str(path)] = keys(tomllib.loads(path.read_text("utf-8")))
        names.setdefault(str(path), set()).add(path.stem)
    found = {
        file: bad
        for file, used in names.items()
        if (bad := {n for n in used if AMBIGUOUS in n.lower()})
    }
    assert not found


def test_identifiers_are_found_in_every_place() -> None:
    tree = ast.parse("import a as b\nclass c:\n  def d(self, e, *f, **g): self.h = i(j=k)\n")
    assert set("bcdefghijk") <= identifiers(tree)
