"""Examples in docstrings run."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

SRC = Path(__file__).resolve().parents[2] / "src"
WITH_EXAMPLES = [
    ".".join(path.relative_to(SRC).with_suffix("").parts).removesuffix(".__init__")
    for path in sorted(SRC.rglob("*.py"))
    if ">>> " in path.read_text("utf-8")
]


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS)
    assert result.failed == 0
    assert result.attempted > 0, "the example is not found: a compiled function hides it"
