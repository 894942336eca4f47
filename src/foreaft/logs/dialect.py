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
from foreaft.logs.cells import COMMA_NUMBER, NUMBER, THOUSANDS, clock_in, measured
from foreaft.logs.names import read_name
from foreaft.logs.raw import MAX_COLUMNS
from foreaft.logs.units import parse_unit

HEAD_BYTES: Final = 512 * 1024
"""So much of the file is looked at; a header of 20 000 columns fits."""

HEAD_LINES: Final = 400
"""So many lines at most; a header with comments has fewer than 100."""

LOOKED_AT: Final = 60
"""So many rows of data decide what a column holds."""


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
    nameless : frozenset of int
        Columns that no header names.
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
    nameless: frozenset[int]
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
    names, units, nameless = _header(rows[:first], width)
    data = [row for row in rows[first:] if any(cell.strip() for cell in row)][:LOOKED_AT]
    cells = [[row[i].strip() for row in data if i < len(row)] for i in range(width)]
    units = tuple(unit or _unit_in(column) for unit, column in zip(units, cells, strict=True))
    filled = [line for line in lines[first:] if line.strip()]
    comma = _has_commas(cells)
    return Dialect(
        encoding,
        delimiter,
        comma,
        any('"' in line for line in lines[first:]),
        first,
        names,
        units,
        tuple(_kind(column, comma) for column in cells),
        nameless,
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
    text = (
        head[:-4].decode("utf-8", "replace")
        if len(head) == HEAD_BYTES
        else head.decode("utf-8", "replace")
    )
    # A few bytes of another encoding do not make the whole file one of that.
    wrong = text.count("\ufffd")
    fine = sum(ord(char) > 127 for char in text) - wrong if wrong else 0
    return "cp1252" if wrong > fine else "utf-8"


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
    first = _first_data([_is_data(row, width) for row in rows], rows)
    if first is None:
        return 0.0, delimiter, rows, None
    body = [row for row in rows[first:] if any(cell.strip() for cell in row)]
    even = sum(len(row) == width for row in body) / len(body)
    cells = [cell for row in body[:LOOKED_AT] for cell in row if cell.strip()]
    good = sum(_numeric(cell) for cell in cells) / max(len(cells), 1)
    # A blank between the cells is the last resort: names and clocks have blanks inside.
    blank = 0.9 if delimiter == " " else 1.0
    # A comma may cut numbers in two, but not the header above them.
    headed = 1.0 if any(abs(len(row) - width) <= 1 for row in rows[:first]) else 0.95
    return even * good * blank * headed, delimiter, rows, first


def _first_data(is_data: Sequence[bool], rows: Sequence[Sequence[str]]) -> int | None:
    """The first row of numbers that is followed by a few more, if there are more."""
    places = [i for i, row in enumerate(rows) if any(cell.strip() for cell in row)]
    for k, i in enumerate(places):
        if all(is_data[j] for j in places[k : k + 4]):
            return i
    return None


def _width(counts: Sequence[int]) -> int:
    return Counter(counts).most_common(1)[0][0] if counts else 0


def _numeric(cell: str) -> bool:
    text = cell.strip()
    if NUMBER.fullmatch(text) or COMMA_NUMBER.fullmatch(text):
        return True
    return clock_in(text) or measured(text) is not None


def _is_data(row: Sequence[str], width: int) -> bool:
    filled = [cell for cell in row if cell.strip()]
    if abs(len(row) - width) > 1 or not filled:
        return False
    numbers = sum(_numeric(cell) for cell in filled)
    return numbers >= max(0.5 * len(filled), 1.0)


def _has_commas(columns: Sequence[Sequence[str]]) -> bool:
    """Whether the decimal mark is a comma; what may be thousands counts only if nothing else is."""
    cells = [cell for column in columns for cell in column]
    commas = [cell for cell in cells if COMMA_NUMBER.fullmatch(cell)]
    points = [cell for cell in cells if "." in cell and NUMBER.fullmatch(cell)]
    sure = [sum(THOUSANDS.fullmatch(cell) is None for cell in one) for one in (commas, points)]
    return sure[0] > sure[1] if any(sure) else len(commas) > len(points)


def _kind(cells: Sequence[str], comma: bool) -> str:
    filled = [cell for cell in cells if cell]
    most = 0.5 * len(filled)
    plain = sum(bool(NUMBER.fullmatch(cell) or COMMA_NUMBER.fullmatch(cell)) for cell in filled)
    if comma and any("." in cell and THOUSANDS.fullmatch(cell) for cell in filled):
        return "text"
    if plain == len(filled):
        return "number"
    clock = sum(clock_in(cell) for cell in filled)
    if clock > most:
        return "clock"
    helped = sum(measured(cell) is not None for cell in filled)
    if helped > max(plain, most):
        return "text"
    return "number" if plain > most else "words"


def _unit_in(cells: Sequence[str]) -> str:
    """The unit that stands in the cells of a column themselves, if one does."""
    first = next(filter(None, cells), "")
    if NUMBER.fullmatch(first) or COMMA_NUMBER.fullmatch(first):
        return ""
    units = [found[1] for cell in cells if cell and (found := measured(cell)) is not None]
    return units[0] if units and len(set(units)) == 1 else ""


Header = tuple[tuple[str, ...], tuple[str, ...], frozenset[int]]


def _header(rows: Sequence[Sequence[str]], width: int) -> Header:
    """Names and units, from the rows above the numbers that are as wide; and who has no name."""
    wide = [row for row in rows if abs(len(row) - width) <= 1 and any(c.strip() for c in row)][-5:]
    nameless = tuple(f"column {i + 1}" for i in range(width))
    if not wide:
        return nameless, ("",) * width, frozenset(range(width))
    known = [sum(bool(read_name(cell, "").candidates) for cell in row[:200]) for row in wide]
    filled = [sum(bool(cell.strip()) for cell in row) for row in wide]
    at = max(range(len(wide)), key=lambda i: (known[i], filled[i], -i))
    names = [cell.strip() for cell in wide[at]] + [""] * width
    names[0] = names[0].lstrip("#% ")  # a header may stand in a comment
    named = tuple(names[i] or nameless[i] for i in range(width))
    units = ("",) * width
    for row in [*wide[at + 1 :], *reversed(wide[:at])]:  # mostly below the names
        if _are_units(row):
            told = [cell.strip() for cell in row] + [""] * width
            units = tuple(told[:width])
            break
    return _without_twins(named), units, frozenset(i for i in range(width) if not names[i])


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
