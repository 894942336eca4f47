"""Writing files whole or not at all.

Everything is written beside its target under a temporary name, flushed to the disk and renamed at
the end; whatever goes wrong before that leaves the target as it was and nothing lying about.
"""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

from foreaft.base.errors import InputError
from foreaft.files.toml import dump, read_any
from foreaft.model.fields import Model, revision


def write_file(path: str | os.PathLike[str], data: bytes | str) -> Path:
    """Write one file, replacing what was there.

    Raises
    ------
    InputError
        If the folder is missing, may not be written, or the disk is full.
    """
    file = Path(path)
    content = data.encode() if isinstance(data, str) else data
    with _told(file):
        handle, name = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.parent)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                _fill(stream.fileno(), content)
            part.chmod(_mode(file))
            part.replace(file)
            _sync_folder(file.parent)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
    return file


def write_folder(path: str | os.PathLike[str], files: Mapping[str, bytes | str]) -> Path:
    """Write a folder of files: all are written to the disk before the first appears.

    A new folder comes whole or not at all.
    In an existing one the files are replaced one by one, each whole; what is not among them stays.

    Raises
    ------
    InputError
        As for :func:`write_file`.
    """
    with filling_folder(path) as part:
        for name, data in files.items():
            target = part / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data.encode() if isinstance(data, str) else data)
    return Path(path)


@contextmanager
def filling_folder(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Give a temporary folder whose files are put in place where the block ends well.

    For files too large to be held as a whole; else as :func:`write_folder`.

    Raises
    ------
    InputError
        As for :func:`write_file`.
    """
    folder = Path(path)
    with _told(folder):
        made = _make_parents(folder)
        part = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
        try:
            yield part
            files = sorted(one for one in part.rglob("*") if one.is_file())
            for file in files:
                _sync(file)
            part.chmod(0o777 & ~_umask())
            _put_in_place(part, folder, [str(one.relative_to(part)) for one in files])
            _sync_folder(folder.parent)
        finally:
            shutil.rmtree(part, ignore_errors=True)
            _remove_empty(made)


def save(path: str | os.PathLike[str], model: Model, base_revision: str | None) -> str:
    """Save a model over the file it was read from; give its new revision.

    Parameters
    ----------
    path : path
    model : Model
    base_revision : str or None
        Revision of the file the change started from; None for a new file.

    Raises
    ------
    InputError
        If the file has changed since, or exists already for a new one: then it stays as it is
        and the new version stands beside it, named in the hint.
    """
    file = Path(path)
    there = revision(read_any(file)) if file.exists() else None
    if there != base_revision:
        other = write_file(_beside(file, revision(model)), dump(model))
        raise InputError(
            "The file is not the one this change started from.",
            code="revision_mismatch",
            file=file,
            key="revision",
            value=there or "no file",
            allowed=base_revision or "no file",
            unit="",
            hint=f"Both are kept; the new version is in {other.name}. Join them by hand.",
        )
    write_file(file, dump(model))
    return revision(model)


def _make_parents(folder: Path) -> list[Path]:
    """Make the folders a folder lies in; give those that were not there, innermost first."""
    made = [one for one in folder.parents if not one.exists()]
    folder.parent.mkdir(parents=True, exist_ok=True)
    return made


def _remove_empty(made: list[Path]) -> None:
    """Remove the folders made for something that was not written after all."""
    for one in made:
        try:
            one.rmdir()
        except OSError:
            return  # not empty: it is wanted


def _beside(file: Path, new: str) -> Path:
    return file.with_name(f"{file.stem}.{new}{file.suffix}")


def _fill(descriptor: int, content: bytes) -> None:
    view = memoryview(content)
    while view:
        view = view[os.write(descriptor, view) :]
    os.fsync(descriptor)


def _sync(file: Path) -> None:
    with file.open("rb+") as stream:  # some systems flush only what may be written
        os.fsync(stream.fileno())


def _put_in_place(part: Path, folder: Path, names: list[str]) -> None:
    if not folder.exists():
        part.replace(folder)
        return
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (part / name).replace(folder / name)


def _mode(file: Path) -> int:
    """The mode of the file replaced, or an ordinary one."""
    return file.stat().st_mode & 0o777 if file.exists() else 0o666 & ~_umask()


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _sync_folder(folder: Path) -> None:
    if not hasattr(os, "O_DIRECTORY"):
        return
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def _told(file: Path) -> Iterator[None]:
    """Turn what the system says into an error for the user."""
    try:
        yield
    except OSError as error:
        _refuse(file, error)


_REASONS = {
    errno.ENOSPC: ("file_disk_full", "The disk is full.", "Free some space, or write elsewhere."),
    errno.EDQUOT: ("file_disk_full", "The disk quota is used up.", "Free some space."),
    errno.EACCES: ("file_no_permission", "This may not be written.", "Choose another folder."),
    errno.EPERM: ("file_no_permission", "This may not be written.", "Choose another folder."),
    errno.EROFS: ("file_no_permission", "This disk is read-only.", "Choose another folder."),
    errno.ENOENT: ("file_missing", "There is no such folder.", "Make the folder first."),
    errno.EISDIR: ("file_is_directory", "This is a folder.", "Name a file inside it."),
}


def _refuse(file: Path, error: OSError) -> NoReturn:
    told = ("file_unwritable", f"This cannot be written: {error.strerror}.", "Check the path.")
    code, message, hint = _REASONS.get(error.errno or 0, told)
    raise InputError(
        f"{message} Nothing was written.",
        code=code,
        file=file,
        key="file",
        value=error.strerror or str(error),
        allowed="a place with room that you may write to",
        unit="",
        hint=hint,
    ) from error
