"""Joint draws: a table whose rows are cars, for numbers that are not independent.

CSV with the dotted keys of the car as columns, or JSON ``{"key": [numbers], ...}``.
"""

from __future__ import annotations

import csv
import json
import math
import os
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.files.read import read_text

MAX_BYTES: Final = 64 * 1024 * 1024
MAX_ROWS: Final = 100_000


def read_draws(path: str | os.PathLike[str]) -> dict[str, NDArray[np.float64]]:
    """Read a table of joint draws.

    Returns
    -------
    dict
        Dotted key -> ndarray, shape (rows,). Whether the keys are the car's and the numbers
        possible is for :func:`foreaft.model.car.draw` to say.

    Raises
    ------
    InputError
        With file, line, key, value, allowed range, unit and hint.
    """
    file = Path(path)
    text = read_text(file, MAX_BYTES)
    columns = _from_json(file, text) if file.suffix.lower() == ".json" else _from_csv(file, text)
    lengths = {len(column) for column in columns.values()}
    if len(lengths) != 1 or not 1 <= max(lengths) <= MAX_ROWS:
        raise _refused(
            file,
            None,
            "rows",
            ", ".join(map(str, sorted(lengths))) or "none",
            f"columns of one length, 1 to {MAX_ROWS}",
        )
    return {key: np.array(column, dtype=np.float64) for key, column in columns.items()}


def _from_csv(file: Path, text: str) -> dict[str, list[float]]:
    lines = text.splitlines()
    names = [name.strip() for name in next(csv.reader(lines[:1]), [])]
    if len(set(names)) < len(names) or not all(names):
        raise _refused(file, 1, "header", lines[0][:60], "dotted keys of the car, each once")
    columns: dict[str, list[float]] = {name: [] for name in names}
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        cells = line.split(",")
        if len(cells) != len(names):
            raise _refused(file, number, "row", len(cells), f"{len(names)} cells")
        for name, cell in zip(names, cells, strict=True):
            columns[name].append(_number(file, number, name, cell.strip()))
    return columns


def _from_json(file: Path, text: str) -> dict[str, list[float]]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", 1)
        raise _refused(file, line, "JSON", str(error)[:60], "a JSON object of lists") from error
    if not isinstance(found, dict) or not all(isinstance(v, list) for v in found.values()):
        raise _refused(file, 1, "JSON", str(found)[:60], "a JSON object of lists")
    return {key: [_number(file, None, key, one) for one in column] for key, column in found.items()}


def _number(file: Path, line: int | None, key: str, found: Any) -> float:
    try:
        value = math.nan if isinstance(found, bool | list | dict) else float(found)
    except (TypeError, ValueError, OverflowError):
        value = math.nan
    if not math.isfinite(value):
        raise _refused(file, line, key, str(found)[:60], "a finite number")
    return value


def _refused(file: Path, line: int | None, key: str, value: str | int, allowed: str) -> InputError:
    return InputError(
        "This is no table of joint draws.",
        code="draws",
        file=file,
        line=line,
        key=key,
        value=value,
        allowed=allowed,
        unit="",
        hint="One column per number of the car, one row per drawn car.",
    )
