"""The reference says what the program does: commands, options, exit codes, error codes."""

from __future__ import annotations

import re

import pytest

from docs.pages import DOCS, ROOT, make_reference
from foreaft.base import errors
from foreaft.cli import commands as functions
from foreaft.cli.parser import make_parser

REFERENCE = DOCS / "reference"
ref = make_reference()
PARSERS = ref.commands(make_parser())


def test_made_pages_are_fresh() -> None:
    for path, text in ref.pages().items():
        assert path.exists(), f"{path.name}: run python tools/make_reference.py"
        assert path.read_text("utf-8") == text, f"{path.name}: run python tools/make_reference.py"


def test_no_schema_is_left_over() -> None:
    there = {path.name for path in (REFERENCE / "schemas").iterdir()}
    assert there == set(ref.schemas())


@pytest.mark.parametrize("name", list(PARSERS))
def test_each_command_and_option_is_documented(name: str) -> None:
    page = (REFERENCE / "command-line.md").read_text("utf-8")
    section = page.split(f"## {name}\n")[1].split("\n## ")[0]
    for action in PARSERS[name]._actions:
        for option in action.option_strings:
            assert option in ("-h", "--help") or f"`{option}`" in section, option
        assert action.help, f"{name}: {action.dest} has no help"
    assert "foreaft " + name in section
    assert callable(getattr(functions, name.partition(" ")[0]))


def test_each_exit_code_is_documented() -> None:
    kinds = [
        one
        for one in vars(errors).values()
        if isinstance(one, type) and issubclass(one, errors.ForeaftError)
    ]
    told = {code for code, _ in ref.EXITS}
    assert {one.exit_code for one in kinds} | {0} == told
    epilog = make_parser().epilog or ""
    assert all(re.search(rf"\b{code}\b", epilog) for code in told)


def test_each_error_code_is_documented() -> None:
    """Found by plain search, not by the way the page is made."""
    page = (REFERENCE / "errors.md").read_text("utf-8")
    missing = {}
    for file in sorted((ROOT / "src" / "foreaft").rglob("*.py")):
        text = file.read_text("utf-8")
        codes = re.findall(r"""\bcode=["']([a-z_]+)["']""", text)
        codes += re.findall(r"""["']code["']: ["']([a-z_]+)["']""", text)
        codes += re.findall(r"""\bwarn\(\s*["']([a-z_]+)["']""", text)
        bad = {code for code in codes if f"| `{code}` |" not in page}
        if bad:
            missing[file.name] = bad
    assert not missing


def test_helpers_that_take_a_code_by_place_are_seen() -> None:
    tree = ref.ast.parse("def no(file, code, found): ...\nno(f, 'why_not', 'this')\n")
    call = tree.body[1].value
    assert ref._codes_of_call(call, ref._helpers(tree))[0] == ["why_not"]
