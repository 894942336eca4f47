"""Text logs: one column per channel, or one row per channel and sample.

No cell is ever evaluated: what is no number counts as empty.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from foreaft.base.errors import InputError
from foreaft.logs.cells import numbers_of, seconds_of
from foreaft.logs.dialect import Dialect, dialect_of
from foreaft.logs.names import read_name, words_of
from foreaft.logs.raw import MAX_CELLS, Column, Group, RawLog
from foreaft.logs.recording import Done, Floats

if TYPE_CHECKING:
    import polars as pl

MAX_REWRITTEN_BYTES: Final = 256 * 1024 * 1024
"""Logs in UTF-16, with blanks between the cells or with bare returns are rewritten in memory."""

SPARSE_FRAC: Final = 0.5
"""A column empty in more than this part of the rows is slower than the table, not damaged."""

_VALUE_WORDS: Final = {"value", "wert", "valeur", "valore", "valor", "reading", "messwert"}
_CHANNEL_WORDS: Final = {"channel", "signal", "name", "parameter", "kanal", "canal", "canale"}
_UNIT_WORDS: Final = {"unit", "units", "einheit", "unite", "unita", "unidad"}


def read_csv(file: Path, head: bytes, size: int) -> RawLog:
    """Read a text log.

    Parameters
    ----------
    file : Path
    head : bytes
        Its first part, `dialect.HEAD_BYTES` of it.
    size : int
        Of the file. [bytes]

    Raises
    ------
    InputError
        If it is no text, holds no table of numbers, or is too large.
    """
    dialect = dialect_of(file, head)
    cells = size / max(dialect.line_bytes, 1.0) * len(dialect.names)
    if cells > MAX_CELLS:
        raise too_large(file, cells)
    table = _Table(file, dialect, size)
    place = _long_columns(dialect)
    log = _long(table, dialect, place) if place else None
    log = log or _wide(table, dialect)
    if dialect.data_line > 1 + any(dialect.units):
        note = Done("lines above the table passed over", None, dialect.data_line - 1)
        log = replace(log, done=(note, *log.done), driver_name=_driver(head, dialect))
    return log


_DRIVER: Final = {"driver", "driver name", "fahrer", "pilote", "pilota", "piloto", "conductor"}


def _driver(head: bytes, dialect: Dialect) -> str | None:
    """The driver's name from the lines above the table, if one of them has it."""
    lines = head.decode(dialect.encoding, "replace").splitlines()[: dialect.data_line]
    for row in csv.reader(lines, delimiter=dialect.delimiter):
        cells = [cell.strip() for cell in row if cell.strip()]
        if len(cells) == 2 and cells[0].rstrip(" :").lower() in _DRIVER:
            return cells[1]
    return None


def too_large(file: Path, cells: float) -> InputError:
    """Give the error for a log with more samples than are held in memory."""
    return InputError(
        "The log is too large to be read at once.",
        code="log_too_large",
        file=file,
        key="samples",
        value=int(cells),
        allowed=f"up to {MAX_CELLS}",
        unit="samples",
        hint="Export fewer channels, a lower rate, or one session at a time.",
    )


class _Table:
    """The rows below the header, read by polars once, or some columns once more as text."""

    def __init__(self, file: Path, dialect: Dialect, size: int) -> None:
        self._file, self._dialect = file, dialect
        self._source: Any = file
        self._delimiter = "\t" if dialect.delimiter == " " else dialect.delimiter
        encoded = dialect.encoding.startswith("utf-16")
        if encoded or dialect.returns_only or dialect.delimiter == " ":
            self._source = _rewritten(file, dialect, size)
        self.points_may_group = dialect.decimal_comma and self._points_may_group()

    def _points_may_group(self) -> bool:
        """Whether a cell such as 8.500 stands in a file whose decimal mark is the comma."""
        import mmap

        if isinstance(self._source, bytes):
            return _GROUPED.search(self._source) is not None
        with self._file.open("rb") as stream:
            data = mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ)
            with data:
                return _GROUPED.search(data) is not None

    def frame(self, repeating: Collection[int] = ()) -> pl.DataFrame:
        """Every column; those that ``repeat`` a few words as categories."""
        import polars as pl

        return self._read(
            {
                i: pl.Categorical()
                if i in repeating
                else pl.Float64()
                if kind == "number" and not self.points_may_group
                else pl.String()
                for i, kind in enumerate(self._dialect.kinds)
            }
        )

    def texts(self, wanted: Sequence[int]) -> pl.DataFrame:
        """Some columns as they are written."""
        import polars as pl

        return self._read(dict.fromkeys(range(len(self._dialect.kinds)), pl.String()), wanted)

    def _read(self, kinds: Mapping[int, Any], wanted: Sequence[int] | None = None) -> pl.DataFrame:
        import polars as pl

        dialect = self._dialect
        try:
            frame = pl.read_csv(
                self._source,
                has_header=False,
                skip_lines=dialect.data_line,
                separator=self._delimiter,
                quote_char='"' if dialect.quoted else None,
                schema={f"column_{i + 1}": kind for i, kind in kinds.items()},
                columns=None if wanted is None else list(wanted),
                ignore_errors=True,
                truncate_ragged_lines=True,
                decimal_comma=dialect.decimal_comma,
                encoding="utf8-lossy",
            )
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
            raise unreadable(self._file, error) from error
        frame.columns = [str(i) for i in (kinds if wanted is None else sorted(wanted))]
        return frame


_GROUPED: Final = re.compile(rb'[;|\t"\n][+-]?[1-9]\d{0,2}\.\d{3}[;|\t"\r\n]')


def unreadable(file: Path, error: BaseException) -> InputError:
    """Give the error for a file its library gives up on."""
    # What a library holds in memory says nothing to whoever reads this.
    said = re.sub(r"'?<[^>]*>'?", "it", str(error).strip()).splitlines()
    return InputError(
        "The log is damaged and cannot be read.",
        code="log_damaged",
        file=file,
        key="file",
        value=(said[0] if said else type(error).__name__)[:160],
        allowed="a whole file",
        unit="",
        hint="Copy or export it again.",
    )


def _rewritten(file: Path, dialect: Dialect, size: int) -> bytes:
    if size > MAX_REWRITTEN_BYTES:
        raise InputError(
            "A text log of this encoding is too large to be rewritten in memory.",
            code="log_too_large",
            file=file,
            key="size",
            value=size,
            allowed=f"up to {MAX_REWRITTEN_BYTES}",
            unit="bytes",
            hint="Export it in UTF-8 with commas, semicolons or tabs.",
        )
    data = file.read_bytes()
    if dialect.encoding.startswith("utf-16"):
        data = data.decode(dialect.encoding, "replace").lstrip("\ufeff").encode("utf-8", "replace")
    if dialect.returns_only:
        data = data.replace(b"\r", b"\n")
    if dialect.delimiter == " ":
        data = re.sub(rb"[ \t]+", b"\t", re.sub(rb"(?m)^[ \t]+|[ \t\r]+$", b"", data))
    return data


# ---------------------------------------------------------------- one column per channel


def _wide(table: _Table, dialect: Dialect) -> RawLog:
    import polars as pl

    frame = table.frame()
    lost = [i for i, one in enumerate(frame.get_columns()) if one.dtype.is_numeric()]
    lost = [i for i in lost if frame[str(i)].null_count()]
    texts = table.texts(lost).get_columns() if lost else []
    # An empty cell is none; what holds something that is no number is looked at again.
    again = {
        i: one for i, one in zip(lost, texts, strict=True) if _unread(frame[str(i)], one).any()
    }
    rows, done = _of_this_table(again, frame, dialect)
    columns: list[Column] = []
    left_out = []
    given = frame.get_columns()[::-1]
    del frame  # each column is let go once it is read
    for i, name in enumerate(dialect.names):
        series = given.pop().head(rows)
        if series.dtype == pl.String:
            text = series
            series = _read_text(series, dialect.kinds[i], dialect.decimal_comma)
            if dialect.kinds[i] == "words" and not 2 * series.count() > text.count():
                left_out.append((name, _hemisphere(text, columns, name, done) or "holds words"))
                continue
        elif i in again:
            # Where some have a mark for thousands, the cells read before have none.
            series = series.fill_null(numbers_of(again[i].head(rows), dialect.decimal_comma))
        if series.null_count() == len(series) and i in dialect.nameless:
            continue  # every line ends with a separator
        clock = dialect.kinds[i] == "clock"
        unit = "s" if clock else dialect.units[i]
        columns.append(Column(name, unit, _array(series), clock))
    columns = _with_something(columns, done)
    done += [
        Done("cells without a number left out", one.name, empty)
        for one in columns
        if 0 < (empty := int(np.isnan(one.value).sum())) < SPARSE_FRAC * len(one.value)
    ]
    return RawLog("CSV", _by_clock(columns), tuple(done), tuple(left_out))


def _read_text(series: pl.Series, kind: str, comma: bool) -> pl.Series:
    return seconds_of(series) if kind == "clock" else numbers_of(series, comma)


def _unread(numbers: pl.Series, text: pl.Series) -> pl.Series:
    """Cells that hold something, but no number as polars knows them."""
    return numbers.is_null() & text.is_not_null()


def _array(series: pl.Series) -> Floats:
    array: Floats = series.to_numpy(allow_copy=True)
    return np.ascontiguousarray(array, dtype=np.float64)


def _of_this_table(
    again: Mapping[int, pl.Series], frame: pl.DataFrame, dialect: Dialect
) -> tuple[int, list[Done]]:
    """Rows down to where another header stands, and what is told of it.

    The same header may stand again and again, at each session: that changes nothing.
    """

    found: dict[int, set[str]] = {}
    for i, text in list(again.items())[:COLUMNS_LOOKED_AT]:
        rows = _unread(frame[str(i)], text).arg_true().head(CELLS_LOOKED_AT)
        for row, written in zip(rows.to_list(), text.gather(rows).to_list(), strict=True):
            cell = _without_mark(written)
            if cell != _without_mark(dialect.names[i]) and read_name(cell, "").candidates:
                found.setdefault(row, set()).add(cell)
    other = [row for row, names in found.items() if len(names) > 1]
    if not other:
        return len(frame), []
    line = dialect.data_line + min(other) + 1
    what = f"rows left out: another table, with other columns, begins at line {line}"
    return min(other), [Done(what, None, len(frame) - min(other))]


COLUMNS_LOOKED_AT: Final = 20
CELLS_LOOKED_AT: Final = 500
"""Another header stands in all columns; so much is looked at for it."""


def _without_mark(name: str) -> str:
    return name.partition(" #")[0].lstrip("#% ").strip()


def _hemisphere(text: pl.Series, columns: list[Column], name: str, done: list[Done]) -> str | None:
    """A column of N and S, or E and W, gives the sign of the coordinate before it."""
    held = set(text.drop_nulls().str.strip_chars().str.to_uppercase().unique().to_list()) - {""}
    sides = next((two for two in ("NS", "EW") if held and held <= set(two)), None)
    wanted = {"NS": "latitude_deg", "EW": "longitude_deg"}
    if sides is None or not columns:
        return None
    last = columns[-1]
    if wanted[sides] not in read_name(last.name, last.unit).candidates:
        return None
    back = (text.str.strip_chars().str.to_uppercase() == sides[1]).fill_null(False).to_numpy()
    if back.any():
        columns[-1] = replace(last, value=np.where(back, -np.abs(last.value), last.value))
        side = {"NS": "south", "EW": "west"}[sides]
        done.append(Done(f"counted as {side}, as {name} says", last.name, int(back.sum())))
    return f"gives the sign of {last.name}"


def _with_something(columns: list[Column], done: list[Done]) -> list[Column]:
    """Leave out the lines in which no column has a number: remarks, headers that stand again."""
    if not columns or not all(np.isnan(one.value).any() for one in columns):
        return columns
    empty = np.logical_and.reduce([np.isnan(one.value) for one in columns])
    if not empty.any():
        return columns
    done.append(Done("lines without numbers passed over", None, int(empty.sum())))
    return [replace(one, value=one.value[~empty]) for one in columns]


def _by_clock(columns: list[Column]) -> tuple[Group, ...]:
    """Columns that share a clock; in some logs each has its own to the left of it."""
    first = _without_mark(columns[0].name) if columns else ""
    starts = [i for i, one in enumerate(columns) if _without_mark(one.name) == first]
    apart = len(starts) > 1 and "time_s" in read_name(first, columns[0].unit).candidates
    if not apart or any(b - a < 2 for a, b in pairwise([*starts, len(columns)])):
        return (Group(tuple(columns)),)
    groups = [tuple(columns[a:b]) for a, b in pairwise([*starts, len(columns)])]
    return tuple(Group(_filled(one)) for one in groups)


def _filled(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    """Rows that have a time: a short column ends before the others."""
    has = ~np.isnan(columns[0].value)
    return columns if has.all() else tuple(replace(one, value=one.value[has]) for one in columns)


# ---------------------------------------------------------------- one row per channel and sample


def _long_columns(dialect: Dialect) -> dict[str, int] | None:
    """Places of time, channel, value and unit in a table of that shape; None for any other."""
    if not 3 <= len(dialect.names) <= 6:
        return None
    found: dict[str, int] = {}
    for i, name in enumerate(dialect.names):
        words, kind = set(words_of(name)), dialect.kinds[i]
        if kind == "words":
            role = "unit" if words & _UNIT_WORDS else "channel"
            if role == "unit" or words & _CHANNEL_WORDS or "channel" not in found:
                found[role] = i
        elif kind == "clock" or "time_s" in read_name(name, dialect.units[i]).candidates:
            found.setdefault("time", i)
        elif words & _VALUE_WORDS:
            found["value"] = i
        elif words & _CHANNEL_WORDS:
            found.setdefault("channel", i)
    return found if {"time", "channel", "value"} <= set(found) else None


def _long(table: _Table, dialect: Dialect, place: dict[str, int]) -> RawLog | None:
    """Groups of one channel each, rows gathered by channel; None if no name stands twice or so."""
    at = {role: str(i) for role, i in place.items()}
    names = {place[role] for role in ("channel", "unit") if role in place}
    frame = table.frame(names)
    if 2 * frame[at["channel"]].n_unique() >= len(frame):
        return None
    for role in ("time", "value"):
        column = frame[at[role]]
        if not column.dtype.is_numeric():
            read = _read_text(column, dialect.kinds[place[role]], dialect.decimal_comma)
            frame = frame.with_columns(read.alias(at[role]))
    frame = frame.with_row_index("row")
    empty = frame[at["value"]].null_count()
    frame = frame.drop_nulls([at["time"], at["channel"], at["value"]])
    codes = frame[at["channel"]].to_physical().to_numpy()
    order = np.argsort(codes, kind="stable")
    bounds = np.flatnonzero(np.diff(codes[order])) + 1
    firsts = order[np.concatenate(([0], bounds))].tolist() if len(order) else []
    columns = {
        what: np.split(frame.drop_in_place(name).to_numpy()[order], bounds)
        for what, name in (("rows", "row"), ("time", at["time"]), ("value", at["value"]))
    }
    is_clock = dialect.kinds[place["time"]] == "clock"
    clock = dialect.names[place["time"]], "s" if is_clock else dialect.units[place["time"]]
    numbered = f"{dialect.names[place['channel']]} " if _numbered(dialect, place) else ""
    groups = []
    for i, row in enumerate(firsts):
        unit = frame[at["unit"]][row] if "unit" in at else None
        name = numbered + str(frame[at["channel"]][row]).strip()
        time = Column(*clock, columns["time"][i], True)
        value = Column(name, str(unit or "").strip(), columns["value"][i])
        groups.append(Group((time, value), rows=columns["rows"][i].astype(np.int64)))
    groups.sort(key=lambda one: 0 if one.rows is None else int(one.rows[0]))
    done = (Done("rows without a number left out", None, empty),) if empty else ()
    return RawLog("CSV, one row per channel and sample", tuple(groups), done)


def _numbered(dialect: Dialect, place: Mapping[str, int]) -> bool:
    """Whether channels have numbers instead of names."""
    return dialect.kinds[place["channel"]] != "words"
