"""The library: one folder of cars, drivers, circuits, logs and plans, each a file people may edit.

Nothing that was saved is lost: a file is replaced whole (:mod:`foreaft.files.atomic`), what it
replaces is kept before (``.past``, thinned out with age), and what cannot be read is moved aside
(``.aside``).
A change names the revision it started from, so that two tabs, or an editor beside the browser,
never undo each other unseen.
This module knows bytes and places; what the files mean is said elsewhere.
"""

from __future__ import annotations

import hashlib
import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, NoReturn, get_args

from foreaft.base.errors import InputError
from foreaft.files.atomic import write_file
from foreaft.files.history import data_folder
from foreaft.files.library_names import is_id, unknown
from foreaft.files.library_past import Past, Shelf
from foreaft.files.lock import locked

LIBRARY_VARIABLE: Final = "FOREAFT_LIBRARY"
Kind = Literal[
    "cars",
    "drivers",
    "conditions",
    "sheets",
    "circuits",
    "zones",
    "logs",
    "mappings",
    "plans",
]
KINDS: Final[tuple[str, ...]] = get_args(Kind)
ENDINGS: Final = {
    "cars": (".toml",),
    "drivers": (".toml",),
    "conditions": (".toml",),
    "sheets": (".csv",),
    "circuits": (".csv", ".geojson", ".json"),
    "zones": (".csv",),
    "logs": ("",),
    "mappings": (".mapping.toml",),
    "plans": (".json",),
}
WAIT_S: Final = 10.0
LITTER_S: Final = 3600.0
"""Unfinished files older than this were left by a process that died."""


def library_folder() -> Path:
    """Folder of the library where no option names one."""
    own = os.environ.get(LIBRARY_VARIABLE)
    return Path(own) if own else data_folder() / "library"


def revision_of(data: bytes) -> str:
    """First 12 hex digits of the SHA-256 of a file's bytes."""
    return hashlib.sha256(data).hexdigest()[:12]


@dataclass(frozen=True)
class Stored:
    """One file of the library as it lies there."""

    kind: str
    id: str
    file: Path
    revision: str
    saved_at_s: float
    size: int


@dataclass(frozen=True)
class Aside:
    """A damaged file that was moved away: where it lay, where it is now."""

    kind: str
    id: str
    file: Path


class Library:
    """A library on disk; several processes may work in it at once.

    Parameters
    ----------
    root : path
        Its folder, made if need be.

    Raises
    ------
    InputError
        If the folder cannot be made.
    """

    def __init__(self, root: Path) -> None:
        self._hashes: dict[Path, tuple[int, int, str]] = {}
        self._drafts: dict[tuple[str, str], str] = {}
        try:
            root.mkdir(parents=True, exist_ok=True)
            self.root = root.resolve()
            for name in (*(kind for kind in KINDS if kind != "zones"), "works", ".part"):
                (self.root / name).mkdir(exist_ok=True)
        except OSError as error:
            raise self._unwritable(root, error.strerror or str(error)) from error
        self._shelf = Shelf(self.root / ".past")
        self._sweep()

    # ------------------------------------------------------------ places

    def place(self, kind: str, name: str) -> Path:
        """The file of one thing: the one that is there, else the one that would be made.

        Raises
        ------
        InputError
            If there is no such kind, the name is none, or the file lies outside the library.
        """
        if kind not in KINDS or not is_id(kind, name):
            raise unknown(kind, name)
        folder = self.root / ("circuits" if kind == "zones" else kind)
        if kind in ("circuits", "zones"):
            folder /= name
        stem = "zones" if kind == "zones" else name
        files = [folder / (stem + ending) for ending in ENDINGS[kind]]
        file = next((one for one in files if one.is_file()), files[0])
        if not file.resolve().is_relative_to(self.root):
            raise unknown(kind, name)
        return file

    def found(self, kind: str, name: str) -> Path:
        """The file of a thing that must be there; ``InputError`` where it is not."""
        file = self.place(kind, name)
        if not file.is_file():
            raise unknown(kind, name)
        return file

    def ids(self, kind: str) -> list[str]:
        """Names of all things of a kind, in alphabetical order."""
        folder = self.root / ("circuits" if kind == "zones" else kind)
        names = []
        for one in sorted(folder.iterdir()):
            ending = next((e for e in ENDINGS[kind] if one.name.endswith(e)), None)
            name = one.name
            if kind not in ("circuits", "zones"):
                if ending is None:
                    continue
                name = name.removesuffix(ending)
            if is_id(kind, name) and self._is_there(kind, name):
                names.append(name)
        return names

    def _is_there(self, kind: str, name: str) -> bool:
        try:
            return self.place(kind, name).is_file()
        except InputError:
            return False

    # ------------------------------------------------------------ reading

    def stored(self, kind: str, name: str) -> Stored:
        """Revision, time and size of one thing; ``InputError`` where it is not there."""
        file = self.found(kind, name)
        try:
            status = file.stat()
            revision = self._hash(file, status)
        except OSError as error:
            raise unknown(kind, name) from error
        return Stored(kind, name, file, revision, status.st_mtime, status.st_size)

    def _hash(self, file: Path, status: os.stat_result) -> str:
        """Revision of a file; a log is hashed once, not at every look."""
        known = self._hashes.get(file)
        if known is not None and known[:2] == (status.st_mtime_ns, status.st_size):
            return known[2]
        with file.open("rb") as stream:
            revision = hashlib.file_digest(stream, "sha256").hexdigest()[:12]
        self._hashes[file] = (status.st_mtime_ns, status.st_size, revision)
        return revision

    def revision(self, kind: str, name: str) -> str | None:
        """Revision of one thing, read anew; None where it is not there."""
        file = self.place(kind, name)
        try:
            with file.open("rb") as stream:
                return hashlib.file_digest(stream, "sha256").hexdigest()[:12]
        except FileNotFoundError:
            return None

    # ------------------------------------------------------------ changing

    def save(
        self,
        kind: str,
        name: str,
        data: bytes,
        based_on: str | None,
        ending: str | None = None,
        *,
        draft: bool = False,
    ) -> Stored:
        """Save one thing over the revision the change started from.

        Parameters
        ----------
        based_on : str or None
            That revision; None for a thing that is new.
        ending : str, optional
            Of the file, where a kind has several.
        draft : bool
            Saved while it is typed: a draft it replaces is kept only if none was a moment ago.

        Raises
        ------
        InputError
            ``saved_elsewhere`` if it has changed since: what was to be saved is then kept among
            the past versions, marked as refused.
        """
        with self._held():
            file = self.place(kind, name)
            target = file if ending is None else file.with_name(self._stem(kind, name) + ending)
            there, new = self.revision(kind, name), revision_of(data)
            if there == new and file == target:
                return self.stored(kind, name)
            if there != based_on:
                self._shelf.keep(kind, name, target.suffix, data, new, "refused")
                self._elsewhere(kind, name, there)
            target.parent.mkdir(exist_ok=True)
            if there is not None and not (draft and self._is_passing(kind, name, there)):
                self._shelf.keep(kind, name, file.suffix, file.read_bytes(), there)
            write_file(target, data)
            if draft:
                self._drafts[kind, name] = new
            if target != file:
                file.unlink(missing_ok=True)
        return self.stored(kind, name)

    def _is_passing(self, kind: str, name: str, revision: str) -> bool:
        """Whether this is a draft of this process, of which a version was kept just now."""
        is_draft = self._drafts.get((kind, name)) == revision
        return is_draft and self._shelf.kept_lately(kind, name)

    def remove(self, kind: str, name: str, based_on: str | None) -> Stored:
        """Remove one thing; it stays among the past versions. ``InputError`` as for `save`."""
        with self._held():
            gone = self.stored(kind, name)
            there = self.revision(kind, name)
            if there != based_on:
                self._elsewhere(kind, name, there)
            at = time.time()
            zones = self.revision("zones", name) if kind == "circuits" else None
            if zones is not None:
                self._shelf.move("zones", name, self.place("zones", name), zones, at)
            self._shelf.move(kind, name, gone.file, gone.revision, at)
            if kind == "circuits":
                _remove_empty(gone.file.parent)
        return gone

    def restore(self, kind: str, name: str, revision: str, based_on: str | None) -> Stored:
        """Bring a past version back; what lies there now becomes a past version itself.

        Raises
        ------
        InputError
            If there is no such version, or as for `save`.
        """
        one = self._shelf.find(kind, name, revision)
        if kind == "logs":
            return self._restore_log(name, one, based_on)
        ending = one.ending if kind == "circuits" else None
        stored = self.save(kind, name, one.file.read_bytes(), based_on, ending)
        if kind == "circuits" and one.removed and not self._is_there("zones", name):
            for zones in self._shelf.all("zones", name):
                if zones.removed and zones.at == one.at:
                    self.save("zones", name, zones.file.read_bytes(), None)
        return stored

    def _restore_log(self, name: str, one: Past, based_on: str | None) -> Stored:
        with self._held():
            there = self.revision("logs", name)
            if there == one.revision:
                return self.stored("logs", name)
            if there != based_on or there is not None:
                self._elsewhere("logs", name, there)
            os.replace(one.file, self.place("logs", name))
        return self.stored("logs", name)

    # ------------------------------------------------------------ past versions

    def past(self, kind: str, name: str) -> list[Past]:
        """Former versions of a thing, newest first; ``InputError`` if it never was there."""
        file = self.place(kind, name)
        found = self._shelf.all(kind, name)
        if not found and not file.is_file():
            raise unknown(kind, name)
        return found

    def removed(self) -> list[tuple[str, str, Past]]:
        """Kind, name and last version of all that was removed and is not there again.

        Zones that went with their circuit come back with it, and are not told.
        """
        found = []
        for kind in KINDS:
            for name in self._shelf.names(kind):
                if not is_id(kind, name) or self._is_there(kind, name):
                    continue
                if kind == "zones" and not self._is_there("circuits", name):
                    continue
                gone = next((one for one in self._shelf.all(kind, name) if one.removed), None)
                if gone is not None:
                    found.append((kind, name, gone))
        return found

    def past_file(self, kind: str, name: str, revision: str) -> Path:
        """The file of a former version; ``InputError`` if there is none."""
        self.place(kind, name)
        return self._shelf.find(kind, name, revision).file

    # ------------------------------------------------------------ logs

    def part(self) -> Path:
        """A new place for something that is still being received."""
        return self.root / ".part" / f"{time.time_ns():x}-{os.getpid():x}-{os.urandom(4).hex()}"

    def receive_log(self, part: Path, name: str) -> Stored:
        """Take in a log that was received whole; the same bytes again are the same log.

        A log of the same name with other bytes stays: the new one is called ``name-2``.
        """
        with part.open("rb") as stream:
            os.fsync(stream.fileno())
            revision = hashlib.file_digest(stream, "sha256").hexdigest()[:12]
        with self._held():
            for number in range(1, 1000):
                wanted = name if number == 1 else _numbered(name, number)
                there = self.revision("logs", wanted)
                if there is None:
                    os.replace(part, self.place("logs", wanted))
                    return self.stored("logs", wanted)
                if there == revision:
                    part.unlink(missing_ok=True)
                    return self.stored("logs", wanted)
        raise InputError(
            "There are too many logs of this name.",
            code="not_allowed",
            key="file_name",
            value=name,
            allowed="999 of one name",
            unit="",
            hint="Give the log another name.",
        )

    # ------------------------------------------------------------ damage

    def set_aside(self, kind: str, name: str, revision: str) -> Aside | None:
        """Move a damaged file out of the way; None where it is no longer the same."""
        with self._held():
            if self.revision(kind, name) != revision:
                return None
            file = self.place(kind, name)
            kept = self.root / ".aside" / kind / name / f"{revision}{file.suffix}"
            kept.parent.mkdir(parents=True, exist_ok=True)
            os.replace(file, kept)
        return Aside(kind, name, kept)

    def aside(self) -> list[Aside]:
        """Damaged files that were moved away, of things that are not there again."""
        found = []
        for file in sorted((self.root / ".aside").glob("*/*/*")):
            kind, name = file.parent.parent.name, file.parent.name
            if kind in KINDS and is_id(kind, name) and not self._is_there(kind, name):
                found.append(Aside(kind, name, file))
        return found

    # ------------------------------------------------------------ the rest

    @contextmanager
    def _held(self) -> Iterator[None]:
        lock = self.root / ".lock"
        with locked(
            lock,
            WAIT_S,
            unwritable=lambda said: self._unwritable(self.root, said),
            busy=self._busy,
        ):
            yield

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep other processes from changing the library for the length of a block."""
        with self._held():
            yield

    def _stem(self, kind: str, name: str) -> str:
        return "zones" if kind == "zones" else name

    def _sweep(self) -> None:
        """Remove what a process that died left unfinished."""
        old = time.time() - LITTER_S
        litter = [*(self.root / ".part").iterdir()]
        for kind in KINDS:
            litter += (self.root / kind).glob(".*") if kind != "zones" else []
        litter += (self.root / "circuits").glob("*/.*")
        for one in litter:
            try:
                if one.is_file() and one.stat().st_mtime < old:
                    one.unlink()
            except OSError:
                continue  # somebody else was quicker, or it is not ours to remove

    def _elsewhere(self, kind: str, name: str, there: str | None) -> NoReturn:
        raise InputError(
            "This was saved elsewhere meanwhile; nothing was overwritten.",
            code="saved_elsewhere",
            file=f"{kind}/{name}",
            key="based_on",
            value=there or "not there",
            allowed="the revision the change started from",
            unit="",
            hint="Load it again and make the change once more; yours is among the past versions.",
        )

    def _unwritable(self, file: Path, said: str) -> InputError:
        return InputError(
            "The library cannot be used.",
            code="library_unwritable",
            file=file,
            key="library",
            value=said,
            allowed="a folder that can be read and written",
            unit="",
            hint=f"Give another folder with --library, or in {LIBRARY_VARIABLE}.",
        )

    def _busy(self) -> InputError:
        return InputError(
            "The library is held by another process.",
            code="library_busy",
            file=self.root,
            key="library",
            value="held",
            allowed="a library nobody else is just writing to",
            unit="",
            hint="Try again.",
        )


def _numbered(name: str, number: int) -> str:
    found = re.fullmatch(r"(.+?)((?:\.[A-Za-z0-9]{1,8}){0,2})", name)
    stem, ending = found.groups() if found else (name, "")
    return f"{stem}-{number}{ending}"


def _remove_empty(folder: Path) -> None:
    try:
        folder.rmdir()
    except OSError:
        return  # somebody keeps something of his own there
