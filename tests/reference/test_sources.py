"""Every source a docstring names by key stands in docs/references.bib."""

import re
from pathlib import Path

import pytest

from foreaft.physics import balance, magic_formula, regulation, tyre_sets

BIBLIOGRAPHY = Path(__file__).parents[2] / "docs" / "references.bib"


@pytest.mark.parametrize("module", [balance, regulation, magic_formula, tyre_sets])
def test_keys_are_in_the_bibliography(module):
    known = set(re.findall(r"^@\w+\{(\w+),", BIBLIOGRAPHY.read_text(), re.MULTILINE))
    used = set(re.findall(r"\[([a-z]+\d+[a-z]?)\]", Path(module.__file__).read_text()))
    assert used
    assert used <= known
