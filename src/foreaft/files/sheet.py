"""Zone sheets and the zones.csv of a circuit: CSV as spreadsheets write it.

Cells are separated by comma, semicolon or tab, as the header shows; with semicolon or tab a comma
may be the decimal mark.
Blank lines and lines that begin with # are skipped.
"""

from __future__ import annotations

import csv
import io
import os
import re
import unicodedata
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NamedTuple, TypeVar

from foreaft.base.errors import InputError
from foreaft.files.read import read_text
from foreaft.model.fields import Lines, Model, Quantity, build, catalogue, key_hint
from foreaft.model.zone import SheetRow, ZoneMark, ZoneSheet

M = TypeVar("M", bound=Model)
MAX_ROWS: Final = 60


class Row(NamedTuple):
    """One row of a CSV: its line and the cells that hold something, by column."""

    line: int
    cells: dict[str, str]


class Table(NamedTuple):
    """A CSV as read; ``decimal_comma`` where the cells may use one."""

    file: str | None
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal_comma: bool


# ---------------------------------------------------------------- zone sheets


def read_zone_sheet(path: str | os.PathLike[str]) -> ZoneSheet:
    """Read a zone sheet, one row per braking zone.

    Raises
    ------
    InputError
        With file, line, column, value, allowed range, unit and hint.
    """
    file = Path(path)
    return parse_sheet(read_text(file), file.stem, str(file))


def parse_sheet(text: str, name: str, file: str | None = None) -> ZoneSheet:
    """Make a zone sheet from the text of a CSV; ``InputError`` as for :func:`read_zone_sheet`."""
    table = _table(text, SheetRow, file)
    if not {"radius_m", "lateral_g"} & set(table.columns):
        raise _bad_header(
            table.file,
            1,
            ",".join(table.columns),
            SheetRow,
            "One of radius_m and lateral_g is needed.",
        )
    rows = tuple(_models(table, SheetRow))
    shown = " ".join(name.split())[:60] or "sheet"
    return ZoneSheet(id=slug(name), name=shown, rows=rows)


def dump_sheet(sheet: ZoneSheet) -> str:
    """Give a zone sheet as CSV with commas and decimal points, empty columns left out."""
    return _dump(sheet.rows, SheetRow)


# ---------------------------------------------------------------- zones.csv of a circuit


def read_zones(path: str | os.PathLike[str]) -> tuple[ZoneMark, ...]:
    """Read the zones.csv of a circuit: names, ids and what overrides the cut.

    Raises
    ------
    InputError
        With file, line, column, value, allowed range, unit and hint.
    """
    file = Path(path)
    return parse_marks(read_text(file), str(file))


def parse_marks(text: str, file: str | None = None) -> tuple[ZoneMark, ...]:
    """Make zone marks from the text of a CSV; ``InputError`` as for :func:`read_zones`."""
    table = _table(text, ZoneMark, file)
    marks = tuple(_models(table, ZoneMark))
    seen: set[str] = set()
    for row, mark in zip(table.rows, marks, strict=True):
        if mark.zone_id in seen:
            raise InputError(
                "This id stands there twice.",
                code="repeated",
                file=file,
                line=row.line,
                key="zone_id",
                value=mark.zone_id,
                allowed="each id once",
                unit="",
                hint="Ids are given once and kept; take the next free one.",
            )
        seen.add(mark.zone_id)
    return marks


def dump_marks(marks: Sequence[ZoneMark]) -> str:
    """Give zone marks as CSV, empty columns left out."""
    return _dump(marks, ZoneMark)


def slug(name: str) -> str:
    """Give lower-case words of a name joined by hyphens; ``unnamed`` where nothing is left."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-") or "unnamed"


# ---------------------------------------------------------------- CSV


def _table(text: str, kind: type[Model], file: str | None) -> Table:
    rows = list(records(text, file))
    if not rows:
        raise InputError(
            "The file holds no header.",
            code="file_empty",
            file=file,
            line=1,
            key="header",
            value="",
            allowed=",".join(_columns(kind)),
            unit="",
            hint="Make a sheet to start from with: foreaft new.",
        )
    line, header = rows[0]
    columns = tuple(cell.strip() for cell in header)
    _check_header(columns, line, kind, file)
    found = []
    for number, cells in rows[1:]:
        if len(cells) != len(columns):
            raise InputError(
                "This row has another number of cells than the header.",
                code="row_length",
                file=file,
                line=number,
                key="row",
                value=len(cells),
                allowed=str(len(columns)),
                unit="cells",
                hint="A decimal comma needs semicolons between the cells; a comma "
                "inside a name needs quotes around it.",
            )
        named = zip(columns, (c.strip() for c in cells), strict=True)
        found.append(Row(number, {k: c for k, c in named if c}))
    if not 1 <= len(found) <= MAX_ROWS:
        raise InputError(
            "Too few or too many rows.",
            code="row_count",
            file=file,
            line=line,
            key="rows",
            value=len(found),
            allowed=f"1 to {MAX_ROWS}",
            unit="rows",
            hint="One row per braking zone of one lap.",
        )
    return Table(file, columns, tuple(found), delimiter(text) != ",")


def _content(text: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line


def delimiter(text: str) -> str:
    """Give the separator the header uses most; comma where it has none."""
    header = next((line for _, line in _content(text)), "")
    return max(",;\t", key=lambda c: (header.count(c), c == ","))


def records(text: str, file: str | None) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and cells; a record is one line, so that a stray quote spoils one row."""
    separator = delimiter(text)
    for number, line in _content(text):
        try:
            cells = next(csv.reader([line], delimiter=separator, strict=True))
        except (csv.Error, StopIteration) as error:
            raise InputError(
                f"This row cannot be read: {error}.",
                code="row_unreadable",
                file=file,
                line=number,
                key="row",
                value=line[:60],
                allowed="cells with closed quotes",
                unit="",
                hint="Close the quotes, or leave them out.",
            ) from error
        if any(cell.strip() for cell in cells):
            yield number, cells


def _columns(kind: type[Model]) -> tuple[str, ...]:
    return tuple(catalogue(kind))


def _check_header(columns: tuple[str, ...], line: int, kind: type[Model], file: str | None) -> None:
    keys = catalogue(kind)
    needed = [k for k, entry in keys.items() if entry.required]
    shown = ",".join(columns)
    unknown = [c for c in columns if c not in keys]
    missing = [c for c in needed if c not in columns]
    if unknown:
        raise _bad_header(file, line, unknown[0], kind, key_hint(keys, unknown[0], list(keys)))
    if missing:
        raise _bad_header(file, line, shown, kind, f"Missing: {', '.join(missing)}.")
    if len(set(columns)) < len(columns):
        raise _bad_header(file, line, shown, kind, "A column stands there twice.")


def _bad_header(
    file: str | None, line: int, value: str, kind: type[Model], hint: str
) -> InputError:
    return InputError(
        "These columns do not make a sheet.",
        code="sheet_header",
        file=file,
        line=line,
        key="header",
        value=value[:120],
        allowed=",".join(_columns(kind)),
        unit="",
        hint=hint,
    )


def _at(line: int) -> Lines:
    return lambda _: line


def _models(table: Table, kind: type[M]) -> Iterator[M]:
    keys = catalogue(kind)
    for row in table.rows:
        values = {
            column: _value(table, row.line, column, cell, keys[column].about, keys[column].kind)
            for column, cell in row.cells.items()
        }
        yield build(kind, values, file=table.file, line_of=_at(row.line))


_DIGITS = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")


def _value(
    table: Table, line: int, column: str, cell: str, about: object, kind: object
) -> str | float | int:
    """Give a cell as text or number; a number is plain digits, never inf, nan or 1_000."""
    if not isinstance(about, Quantity):
        return cell
    plain = _DIGITS.fullmatch(cell)
    if plain is None or ("," in cell and not table.decimal_comma) or not cell.isascii():
        raise InputError(
            "A number belongs here.",
            code="wrong_type",
            file=table.file,
            line=line,
            key=column,
            value=cell[:60],
            allowed=about.allowed,
            unit=about.unit,
            hint="Write plain digits without a unit; leave the cell empty if it is unknown and "
            "optional.",
        )
    number = float(cell.replace(",", "."))
    whole = "int" in str(kind) and number.is_integer()
    return int(number) if whole else number


def _dump(rows: Sequence[Model], kind: type[Model]) -> str:
    tables = [row.model_dump(exclude_none=True) for row in rows]
    used = [c for c in _columns(kind) if any(c in table for table in tables)]
    needed = [c for c, entry in catalogue(kind).items() if entry.required]
    if kind is SheetRow and not {"radius_m", "lateral_g"} & set(used):
        needed.append("radius_m")
    columns = [c for c in _columns(kind) if c in used or c in needed]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for table in tables:
        writer.writerow([_cell(table.get(c, "")) for c in columns])
    return out.getvalue()


def _cell(value: object) -> str:
    # Only numbers are shortened: a corner may be called "1.0".
    return repr(value).removesuffix(".0") if isinstance(value, float) else str(value)
