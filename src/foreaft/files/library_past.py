"""Former versions of the things of a library: one folder per thing, one file per version.

A file's name says when the version was put away, its revision, and whether it was refused (its
writer did not know what he would overwrite) or removed.
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

    def move(self, kind: str, name: str, file: Path, revision: str, at_s: float) -> None:
        """Take a removed file in, as it is."""
        os.replace(file, self._new(kind, name, file.suffix, revision, "removed", at_s))

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
