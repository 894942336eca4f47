"""Former versions of the things of a library: one folder per thing, one file per version.

A file's name says when the version was put away, its revision, and whether it was refused (its
writer did not know what he would overwrite) or removed.

They do not pile up for ever: the last fifty of a thing stay, and before them the last one of each
day.
"""

from __future__ import annotations

import os
import re
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from foreaft.files.atomic import write_file
from foreaft.files.library_names import unknown

KEPT: Final = 50
"""Former versions of one thing that stay whatever their age."""

DRAFT_S: Final = 300.0
"""Of a thing that is saved while it is typed, one version in this time is enough."""

_DAY_MS: Final = 24 * 3600 * 1000

Mark = Literal["", "refused", "removed"]
_NAME: Final = re.compile(r"(\d{15})-([0-9a-f]{12})(?:-(refused|removed))?(\..*)?")


@dataclass(frozen=True)
class Past:
    """A former version; ``at`` in milliseconds since 1970."""

    revision: str
    at: int
    refused: bool
    removed: bool
    file: Path
    ending: str


class Shelf:
    """The former versions of everything, under one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def all(self, kind: str, name: str) -> list[Past]:
        """Former versions of one thing, newest first."""
        folder = self._folder / kind / name
        if not folder.is_dir():
            return []
        found = []
        for file in folder.iterdir():
            parts = _NAME.fullmatch(file.name)
            if parts:
                at, revision, mark, ending = parts.groups()
                found.append(
                    Past(
                        revision, int(at), mark == "refused", mark == "removed", file, ending or ""
                    )
                )
        return sorted(found, key=lambda one: one.at, reverse=True)

    def names(self, kind: str) -> list[str]:
        """Names of all things of a kind that have former versions."""
        folder = self._folder / kind
        return sorted(one.name for one in folder.iterdir()) if folder.is_dir() else []

    def find(self, kind: str, name: str, revision: str) -> Past:
        """The newest version with this revision; ``InputError`` where there is none."""
        for one in self.all(kind, name):
            if one.revision == revision:
                return one
        raise unknown(kind, f"{name}/past/{revision}")

    def keep(
        self, kind: str, name: str, ending: str, data: bytes, revision: str, mark: Mark = ""
    ) -> None:
        """Write a version down."""
        write_file(self._new(kind, name, ending, revision, mark, time.time()), data)
        self._prune(kind, name)

    def kept_lately(self, kind: str, name: str) -> bool:
        """Whether a version was put away in the last few minutes."""
        newest = next(iter(self.all(kind, name)), None)
        return newest is not None and time.time() - newest.at / 1000 < DRAFT_S

    def move(self, kind: str, name: str, file: Path, revision: str, at_s: float) -> None:
        """Take a removed file in, as it is."""
        os.replace(file, self._new(kind, name, file.suffix, revision, "removed", at_s))
        self._prune(kind, name)

    def _prune(self, kind: str, name: str) -> None:
        """Remove what is neither among the newest nor the last of its day.

        What was refused is counted apart: somebody's lost race must not push out what was saved.
        A process that dies here has removed too little, never too much; the next save goes on.
        """
        found = self.all(kind, name)
        for refused in (False, True):
            for one in surplus([each for each in found if each.refused == refused]):
                one.file.unlink(missing_ok=True)

    def _new(
        self, kind: str, name: str, ending: str, revision: str, mark: Mark, at_s: float
    ) -> Path:
        folder = self._folder / kind / name
        folder.mkdir(parents=True, exist_ok=True)
        at = round(at_s * 1000)
        while any(folder.glob(f"{at:015d}-*")):
            at += 1
        flag = f"-{mark}" if mark else ""
        return folder / f"{at:015d}-{revision}{flag}{ending}"


def surplus(versions: list[Past]) -> list[Past]:
    """What need not stay of versions that are given newest first; days are those of UTC."""
    days = {one.at // _DAY_MS for one in versions[:KEPT]}
    found = []
    for one in versions[KEPT:]:
        if one.at // _DAY_MS in days:
            found.append(one)
        days.add(one.at // _DAY_MS)
    return found
