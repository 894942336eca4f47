"""What the README says of the demo is so, and links lead somewhere."""

from __future__ import annotations

import re
from fnmatch import fnmatch
from pathlib import Path

import pytest

from docs.pages import PAGES, ROOT

README = (ROOT / "README.md").read_text("utf-8")

# Numbers and what follows from them may move with the model; words and columns may not.
MOVES = [
    (r", which is what you run today", ""),
    (r"\b(front|rear), (straight|turning|releasing)\b", "END, PHASE"),
    (r"\b(set it|does not matter|cannot tell)\b", "VERDICT"),
    (r"\d+(\.\d+)?", "N"),
    (r"[ \u00a0]+", " "),
]


def shape(line: str) -> str:
    """Give a line of output without what may move."""
    for pattern, stands_for in MOVES:
        line = re.sub(pattern, stands_for, line)
    return line.strip()


def excerpt() -> list[str]:
    found = re.search(r"<!-- excerpt of the demo.*?```text\n(.*?)```", README, re.S)
    assert found is not None
    return [line for line in found[1].splitlines() if line.strip()]


@pytest.mark.slow
def test_the_excerpt_has_the_shape_of_a_real_run(demo: tuple[str, Path]) -> None:
    printed = [shape(line) for line in demo[0].splitlines()]
    at = 0
    for line in excerpt():
        assert shape(line) in printed[at:], line
        at = printed.index(shape(line), at) + 1
    assert len(excerpt()) >= 6


def test_a_changed_column_would_be_seen() -> None:
    lines = ["zone  from  room", "zone  from  reserve"]
    assert shape(lines[0]) != shape(lines[1])
    assert shape("z01 Mill 230 km/h 12 % set it") == shape("z02 Mill 31 km/h 4 % cannot tell")


def named_files() -> set[str]:
    """Names in the table of what the demo leaves; a span of numbers becomes a pattern."""
    table = README.split("| file | what it is |")[1].split("\n\n")[0]
    names = set(re.findall(r"^\|(.*?)\|", table, re.M))
    return {name for cell in names for name in re.findall(r"`([^`]+)`", cell)}


@pytest.mark.slow
def test_the_demo_leaves_what_the_readme_says(demo: tuple[str, Path]) -> None:
    there = {path.name for path in demo[1].iterdir()}
    said = {name.rstrip("/") for name in named_files()}
    assert said <= there
    rest = {name for name in there - said if not fnmatch(name, "share-??.svg")}
    assert not rest, "left by the demo, but not in the README"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    text = re.sub(r"```.*?```", "", page.read_text("utf-8"), flags=re.S)
    broken = []
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if target.startswith(("http:", "https:", "mailto:")):
            continue
        path, _, place = target.partition("#")
        file = (page.parent / path).resolve() if path else page
        if not file.exists() or (place and place not in anchors(file)):
            broken.append(target)
    assert not broken


def anchors(file: Path) -> set[str]:
    """Names of the headings of a page, as links write them."""
    heads = re.findall(r"^#+ (.*)$", file.read_text("utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}
