"""The examples of the Python page run, in an empty folder."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

from docs.pages import DOCS


@pytest.mark.slow
def test_the_examples_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    page = DOCS / "reference" / "python.md"
    done = doctest.testfile(str(page), module_relative=False)
    assert done.attempted >= 15
    assert done.failed == 0
