"""The stops that look for the crossover: a CSV with the columns ``setting,first`` and ``note``."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Final

from foreaft.base.errors import InputError
from foreaft.files.read import read_text
from foreaft.files.sheet import delimiter, records

FIRST: Final = ("front", "rear", "together", "none")
COLUMNS: Final = ("setting", "first", "note")
MAX_STOPS: Final = 60
LARGEST: Final = 1000.0

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")


def read_stops(path: str | os.PathLike[str]) -> list[tuple[float, str]]:
    """Read setting and what locked first of each stop, in the order driven.

    Raises
    ------
    InputError
        With file, line, column, value, what is allowed and a hint.
    """
    file = Path(path)
    text = read_text(file)
    lines = list(records(text, str(file)))
    if not lines:
        raise _wrong(file, 1, "header", "", "The file holds no header.", "setting,first")
    columns = [cell.strip() for cell in lines[0][1]]
    strange = [one for one in columns if one not in COLUMNS]
    if strange or len(set(columns)) < len(columns) or not {"setting", "first"} <= set(columns):
        said = "The header is not that of a sheet of stops."
        raise _wrong(
            file, lines[0][0], "header", ",".join(columns)[:80], said, "setting,first,note"
        )
    if not 1 <= len(lines) - 1 <= MAX_STOPS:
        said = "Too few or too many stops."
        raise _wrong(file, None, "rows", len(lines) - 1, said, f"1 to {MAX_STOPS}")
    comma = delimiter(text) != ","
    return [_stop(file, line, columns, cells, comma) for line, cells in lines[1:]]


def _stop(
    file: Path, line: int, columns: list[str], cells: list[str], comma: bool
) -> tuple[float, str]:
    if len(cells) != len(columns):
        said = "This row has another number of cells than the header."
        raise _wrong(file, line, "row", len(cells), said, str(len(columns)))
    row = dict(zip(columns, (cell.strip() for cell in cells), strict=True))
    shown, first = row["setting"], row["first"].lower()
    good = shown.isascii() and _NUMBER.fullmatch(shown) and (comma or "," not in shown)
    value = float(shown.replace(",", ".")) if good else None
    if value is None or abs(value) > LARGEST:
        allowed = f"a number from {-LARGEST:g} to {LARGEST:g}"
        raise _wrong(file, line, "setting", shown[:60], "A setting belongs here.", allowed)
    if first not in FIRST:
        said = "This cell says which end locked first."
        raise _wrong(file, line, "first", row["first"][:60], said, ", ".join(FIRST))
    return value, first


def _wrong(
    file: Path, line: int | None, key: str, value: object, said: str, allowed: str
) -> InputError:
    return InputError(
        said,
        code="trial_stops",
        file=file,
        line=line,
        key=key,
        value=value,
        allowed=allowed,
        unit="",
        hint="One row per stop, such as 55.5,front; first is front, rear, together or none.",
    )
