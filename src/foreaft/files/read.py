"""Bytes and text of a file people edit, refused by size, kind and encoding before anything else."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Final, NoReturn

from foreaft.base.errors import InputError

MAX_BYTES: Final = 1024 * 1024
"""Largest file people edit: the longest car file with comments has 20 kB."""


def read_text(path: str | os.PathLike[str], max_bytes: int = MAX_BYTES) -> str:
    """Give the text of a small UTF-8 file.

    Raises
    ------
    InputError
        If it is missing, a folder, empty, larger than ``max_bytes``, not readable or not text.
    """
    file = Path(path)
    try:
        _check_status(file, file.stat(), max_bytes)
        with file.open("rb") as stream:
            data = stream.read(max_bytes + 1)
    except FileNotFoundError as error:
        _refuse(
            file,
            "There is no such file.",
            "file_missing",
            file.name,
            "an existing file",
            "Check the path, or make a file to start from with: foreaft new.",
            error,
        )
    except PermissionError as error:
        _refuse(
            file,
            "The file may not be read.",
            "file_no_permission",
            "no permission",
            "a file you may read",
            "Change its permissions, or copy it.",
            error,
        )
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        _refuse(
            file,
            f"The file cannot be read: {reason}.",
            "file_unreadable",
            reason,
            "a file you may read",
            "Check the path.",
            error,
        )
    if len(data) > max_bytes:
        _too_large(file, len(data), max_bytes)
    return _decoded(file, data)


def _check_status(file: Path, status: os.stat_result, max_bytes: int) -> None:
    if stat.S_ISDIR(status.st_mode):
        _refuse(
            file,
            "This is a folder, not a file.",
            "file_is_directory",
            "folder",
            "a file",
            "Name a file inside it.",
        )
    if not stat.S_ISREG(status.st_mode):
        _refuse(
            file,
            "This is not an ordinary file.",
            "file_not_regular",
            "device or pipe",
            "a file",
            "Save it to a file first.",
        )
    if status.st_size > max_bytes:
        _too_large(file, status.st_size, max_bytes)
    if status.st_size == 0:
        _refuse(
            file,
            "The file is empty.",
            "file_empty",
            "0 bytes",
            f"1 to {max_bytes} bytes",
            "Make a file to start from with: foreaft new.",
        )


def _decoded(file: Path, data: bytes) -> str:
    try:
        text = data.decode("utf-8-sig")
        at = text.find("\0")
        line, found = text.count("\n", 0, max(at, 0)) + 1, "byte 0x00"
    except UnicodeDecodeError as error:
        text, at = "", 0
        line, found = data.count(b"\n", 0, error.start) + 1, f"byte 0x{data[error.start]:02x}"
    if at >= 0:
        raise InputError(
            "The file is not text.",
            code="file_not_text",
            file=file,
            line=line,
            key="encoding",
            value=found,
            allowed="UTF-8 text",
            unit="",
            hint="Save it as plain text in UTF-8.",
        )
    if not text.strip():
        _refuse(
            file,
            "The file holds nothing but blanks.",
            "file_empty",
            "blanks",
            "some text",
            "Make a file to start from with: foreaft new.",
        )
    return text


def _too_large(file: Path, size: int, max_bytes: int) -> NoReturn:
    raise InputError(
        "The file is far too large for something people edit.",
        code="file_too_large",
        file=file,
        key="size",
        value=size,
        allowed=f"1 to {max_bytes}",
        unit="bytes",
        hint="Is this a log, or the wrong file?",
    )


def _refuse(
    file: Path,
    message: str,
    code: str,
    value: str,
    allowed: str,
    hint: str,
    cause: Exception | None = None,
) -> NoReturn:
    raise InputError(
        message, code=code, file=file, key="file", value=value, allowed=allowed, unit="", hint=hint
    ) from cause
