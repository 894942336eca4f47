"""How a text log is written: encoding, separator, decimal mark, header and unit rows.

Judged from the first part of the file alone.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from foreaft.base.errors import InputError
from foreaft.logs.names import read_name
from foreaft.logs.raw import MAX_COLUMNS
from foreaft.logs.units import parse_unit

HEAD_BYTES: Final = 512 * 1024
"""So much of the file is looked at; a header of 20 000 columns fits."""

HEAD_LINES: Final = 400
"""So many lines at most; a header with comments has fewer than 100."""

LOOKED_AT: Final = 60
"""So many rows of data decide what a column holds."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?(nan|inf)", re.IGNORECASE)
_COMMA_NUMBER = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?")
_CLOCK = re.compile(
    r"(\d{4}-\d\d?-\d\d?|\d\d?[./]\d\d?[./]\d{4})?[T ]?(\d{1,3}:)?\d{1,3}:\d\d([.,]\d+)?"
    r"(Z|[+-]\d\d:?\d\d)?"
)


@dataclass(frozen=True)
class Dialect:
    """How the file is written.

    Parameters
    ----------
    encoding : str
        Python's name of it.
    delimiter : str
        One character; a blank stands for any number of blanks.
    decimal_comma, quoted : bool
    data_line : int
        Lines before the first row of numbers.
    names, units : tuple of str
        One per column; a unit is empty where there is none.
    kinds : tuple of str
        Per column: number, text (numbers in need of help), clock, or words.
    line_bytes : float
        Mean length of a row.
    """

    encoding: str
    delimiter: str
    decimal_comma: bool
    quoted: bool
    data_line: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    kinds: tuple[str, ...]
    line_bytes: float
    returns_only: bool


def dialect_of(file: Path, head: bytes) -> Dialect:
    """Judge the first part of a text log.

    Raises
    ------
    InputError
        If it is no text, or holds no table of numbers.
    """
    encoding = _encoding(file, head)
    text = head.decode(encoding, "replace").lstrip("\ufeff")
    returns_only = "\n" not in text and "\r" in text
    lines = re.split(r"\r\n|\n|\r" if returns_only else r"\r?\n", text)
    whole = len(head) < HEAD_BYTES
    lines = (lines if whole or len(lines) < 3 else lines[:-1])[:HEAD_LINES]
    best = max(
        (_judged(lines, delimiter) for delimiter in (",", ";", "\t", "|", " ")),
        key=lambda one: one[0],
    )
    score, delimiter, rows, first = best
    if first is None or score <= 0.0:
        raise _no_table(file, lines)
    width = _width([len(row) for row in rows[first:]])
    if width > MAX_COLUMNS:
        raise InputError(
            "The log has more columns than a logger has channels.",
            code="log_too_large",
            file=file,
            key="columns",
            value=width,
            allowed=f"2 to {MAX_COLUMNS}",
            unit="columns",
            hint="Is this a table of laps turned on its side?",
        )
    names, units = _header(rows[:first], width)
    data = [row for row in rows[first:] if any(cell.strip() for cell in row)][:LOOKED_AT]
    kinds = tuple(_kind([row[i] for row in data if i < len(row)], delimiter) for i in range(width))
    filled = [line for line in lines[first:] if line.strip()]
    return Dialect(
        encoding,
        delimiter,
        delimiter != "," and _has_commas(data),
        any('"' in line for line in lines[first:]),
        first,
        names,
        units,
        kinds,
        sum(len(line) + 1 for line in filled) / len(filled),
        returns_only,
    )


def _encoding(file: Path, head: bytes) -> str:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    odd, even = head[1:4096:2].count(0), head[0:4096:2].count(0)
    if odd > len(head[:4096]) // 3 and even == 0:
        return "utf-16-le"
    if even > len(head[:4096]) // 3 and odd == 0:
        return "utf-16-be"
    if b"\0" in head[:4096] and head[:4096].count(0) > 40:
        raise not_text(file)
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - 4 or len(head) < HEAD_BYTES:
            return "cp1252"
    return "utf-8"


def not_text(file: Path) -> InputError:
    """Give the error for a file that is neither text nor another kind that is read."""
    return InputError(
        "The file is no log of a kind that is read here.",
        code="log_kind_unknown",
        file=file,
        key="file",
        value="bytes that are no text",
        allowed="CSV, Parquet, ASAM MDF4",
        unit="",
        hint="Export the log as CSV, Parquet or MDF4.",
    )


def _no_table(file: Path, lines: Sequence[str]) -> InputError:
    shown = next((line for line in lines if line.strip()), "")
    return InputError(
        "No table of numbers is found at the beginning of the file.",
        code="log_no_table",
        file=file,
        line=1,
        key="table",
        value=shown[:60],
        allowed="a header and rows of at least two numbers",
        unit="",
        hint="Export the log as CSV with one column per channel.",
    )


def cells_of(line: str, delimiter: str) -> list[str]:
    """Cut one line into cells; quotes may hold a separator."""
    if delimiter == " ":
        return line.split()
    if '"' not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return line.split(delimiter)


Judged = tuple[float, str, list[list[str]], int | None]


def _judged(lines: Sequence[str], delimiter: str) -> Judged:
    """How well a separator explains the lines, and where the rows of numbers begin."""
    rows = [cells_of(line, delimiter) for line in lines]
    width = _width([len(row) for row in rows[len(rows) // 2 :] if len(row) > 1])
    if width < 2:
        return 0.0, delimiter, rows, None
    first = _first_data([_is_data(row, width, delimiter) for row in rows], rows)
    if first is None:
        return 0.0, delimiter, rows, None
    body = [row for row in rows[first:] if any(cell.strip() for cell in row)]
    even = sum(len(row) == width for row in body) / len(body)
    cells = [cell for row in body[:LOOKED_AT] for cell in row if cell.strip()]
    good = sum(_numeric(cell, delimiter) for cell in cells) / max(len(cells), 1)
    # A blank between the cells is the last resort: names and clocks have blanks inside.
    return even * good * (0.9 if delimiter == " " else 1.0), delimiter, rows, first


def _first_data(is_data: Sequence[bool], rows: Sequence[Sequence[str]]) -> int | None:
    """The first row of numbers that is followed by a few more, if there are more."""
    places = [i for i, row in enumerate(rows) if any(cell.strip() for cell in row)]
    for k, i in enumerate(places):
        if all(is_data[j] for j in places[k : k + 4]):
            return i
    return None


def _width(counts: Sequence[int]) -> int:
    return Counter(counts).most_common(1)[0][0] if counts else 0


def _numeric(cell: str, delimiter: str) -> bool:
    text = cell.strip()
    if _NUMBER.fullmatch(text) or _CLOCK.fullmatch(text):
        return True
    return delimiter != "," and _COMMA_NUMBER.fullmatch(text) is not None


def _is_data(row: Sequence[str], width: int, delimiter: str) -> bool:
    filled = [cell for cell in row if cell.strip()]
    if abs(len(row) - width) > 1 or not filled:
        return False
    numbers = sum(_numeric(cell, delimiter) for cell in filled)
    return numbers >= max(0.5 * len(filled), 1.0)


def _has_commas(rows: Sequence[Sequence[str]]) -> bool:
    cells = [cell.strip() for row in rows for cell in row]
    commas = sum(_COMMA_NUMBER.fullmatch(cell) is not None for cell in cells)
    points = sum("." in cell and _NUMBER.fullmatch(cell) is not None for cell in cells)
    return commas > points


def _kind(cells: Sequence[str], delimiter: str) -> str:
    filled = [cell.strip() for cell in cells if cell.strip()]
    plain = sum(_NUMBER.fullmatch(cell) is not None for cell in filled)
    comma = sum(_COMMA_NUMBER.fullmatch(cell) is not None for cell in filled)
    clock = sum(_CLOCK.fullmatch(cell) is not None and ":" in cell for cell in filled)
    most = 0.5 * len(filled)
    good = plain + (comma if delimiter != "," else 0)
    helped = sum(number_in(cell) is not None for cell in filled)
    if clock > most:
        return "clock"
    if helped > max(good, most):
        return "text"
    return "number" if not filled or good > most else "words"


def number_in(cell: str) -> float | None:
    """Give the number of a cell such as ``12,5``, ``1.234,5`` or ``12 %``; None where it has none.

    Examples
    --------
    >>> number_in("12,5"), number_in("1.234,5"), number_in("1,234.5"), number_in("=1+2")
    (12.5, 1234.5, 1234.5, None)
    """
    text = re.sub(r"[\s'\u00a0]|%$", "", cell)
    if text.rfind(",") > text.rfind("."):
        text = text.replace(".", "").replace(",", ".")
    elif "," in text:
        text = text.replace(",", "")
    return float(text) if _NUMBER.fullmatch(text) else None


def _header(rows: Sequence[Sequence[str]], width: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names and units, from the rows above the numbers that are as wide as they are."""
    wide = [row for row in rows if abs(len(row) - width) <= 1 and any(c.strip() for c in row)][-5:]
    nameless = tuple(f"column {i + 1}" for i in range(width))
    if not wide:
        return nameless, ("",) * width
    known = [sum(bool(read_name(cell, "").candidates) for cell in row[:200]) for row in wide]
    filled = [sum(bool(cell.strip()) for cell in row) for row in wide]
    at = max(range(len(wide)), key=lambda i: (known[i], filled[i], -i))
    names = [cell.strip() for cell in wide[at]] + [""] * width
    names[0] = names[0].lstrip("#% ")  # a header may stand in a comment
    named = tuple(names[i] or nameless[i] for i in range(width))
    units = ("",) * width
    for row in wide[at + 1 :]:
        if _are_units(row):
            told = [cell.strip() for cell in row] + [""] * width
            units = tuple(told[:width])
            break
    return _without_twins(named), units


def _are_units(row: Sequence[str]) -> bool:
    filled = [cell.strip() for cell in row if cell.strip()]
    units = sum(parse_unit(cell) is not None for cell in filled)
    return units >= 1 and all(len(cell) <= 16 for cell in filled) and 3 * units >= len(filled)


def _without_twins(names: Sequence[str]) -> tuple[str, ...]:
    """Number the later ones of equal names: each column must be named by a mapping."""
    seen: Counter[str] = Counter()
    out = []
    for name in names:
        seen[name] += 1
        out.append(name if seen[name] == 1 else f"{name} #{seen[name]}")
    return tuple(out)
