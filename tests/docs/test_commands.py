"""What the pages tell people to type works: every ``console run`` block, in order, per page."""

from __future__ import annotations

from pathlib import Path

import pytest

from docs.conftest import Run
from docs.pages import DOCS, PAGES, ROOT, blocks

RUNNABLE = [page for page in PAGES if blocks(page.read_text("utf-8"))]


@pytest.mark.slow
@pytest.mark.parametrize("page", RUNNABLE, ids=lambda page: page.name)
def test_the_commands_of_a_page_run(page: Path, shell: Run) -> None:
    for block in blocks(page.read_text("utf-8")):
        shown = ""
        for command in block.commands:
            done = shell(command)
            last = command == block.commands[-1]
            expected = block.exits if last else 0
            assert done.returncode == expected, f"$ {command}\n{done.stdout}{done.stderr}"
            shown += done.stdout + done.stderr
        for fragment in block.shows:
            assert fragment in shown, f"{block.commands} shows no {fragment!r}"


def test_the_pages_that_must_run_do() -> None:
    must = {ROOT / "README.md", DOCS / "tutorial.md", DOCS / "how-to" / "quick-start-class.md"}
    assert must <= set(RUNNABLE)


def test_blocks_are_found_with_their_notes() -> None:
    text = "a\n```console run\n$ one\nsaid\n$ two\n```\n<!-- shows: x y -->\n<!-- exits: 4 -->\nb\n"
    assert blocks(text) == [(["one", "two"], ["x y"], 4)]
    assert blocks("```console\n$ not this\n```\n") == []
