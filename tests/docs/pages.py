"""The pages, and the blocks in them that may be run."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "CHANGELOG.md", *sorted(DOCS.rglob("*.md"))]

BLOCK = re.compile(r"^```console run\n(.*?)^```\n((?:<!-- [a-z]+: .*? -->\n)*)", re.M | re.S)
NOTE = re.compile(r"<!-- (shows|exits): (.*?) -->")


class Block(NamedTuple):
    """Commands of one block, fragments their output must show, and the exit code of the last."""

    commands: list[str]
    shows: list[str]
    exits: int


def blocks(text: str) -> list[Block]:
    """Find the runnable blocks of a page, in order."""
    found = []
    for body, notes in BLOCK.findall(text):
        commands = [line[2:] for line in body.splitlines() if line.startswith("$ ")]
        told = NOTE.findall(notes)
        shows = [what for kind, what in told if kind == "shows"]
        exits = [int(what) for kind, what in told if kind == "exits"]
        found.append(Block(commands, shows, exits[0] if exits else 0))
    return found


def make_reference() -> ModuleType:
    """Load tools/make_reference.py."""
    spec = importlib.util.spec_from_file_location("ref", ROOT / "tools" / "make_reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
