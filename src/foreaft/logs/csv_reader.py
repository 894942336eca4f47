"""Text logs: one column per channel, or one row per channel and sample.

No cell is ever evaluated: what is no number counts as empty.
"""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from foreaft.base.errors import InputError
from foreaft.logs.dialect import Dialect, dialect_of, number_in
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
    place = _long_columns(dialect)
    names = {place[role] for role in ("channel", "unit") if role in place} if place else set()
    frame = _frame(file, dialect, size, names)
    if place and 2 * frame[str(place["channel"])].n_unique() < len(frame):
        log = _long(frame, dialect, place)
    else:
        log = _wide(frame, dialect)
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


def _frame(file: Path, dialect: Dialect, size: int, names: set[int]) -> pl.DataFrame:
    """The table by polars, columns called by their numbers; ``names`` repeat a few words."""
    import polars as pl

    source: Any = file
    delimiter = "\t" if dialect.delimiter == " " else dialect.delimiter
    if dialect.encoding.startswith("utf-16") or dialect.returns_only or dialect.delimiter == " ":
        source = _rewritten(file, dialect, size)
    schema = {
        str(i): pl.Float64() if kind == "number" else pl.String()
        for i, kind in enumerate(dialect.kinds)
    } | {str(i): pl.Categorical() for i in names}
    try:
        return pl.read_csv(
            source,
            has_header=False,
            skip_lines=dialect.data_line,
            separator=delimiter,
            quote_char='"' if dialect.quoted else None,
            schema=schema,
            ignore_errors=True,
            truncate_ragged_lines=True,
            decimal_comma=dialect.decimal_comma,
            encoding="utf8-lossy",
        )
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        raise unreadable(file, error) from error


def unreadable(file: Path, error: BaseException) -> InputError:
    """Give the error for a file its library gives up on."""
    said = str(error).strip().splitlines()
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


def _wide(frame: pl.DataFrame, dialect: Dialect) -> RawLog:
    import polars as pl

    columns, done, left_out = [], [], []
    for i, name in enumerate(dialect.names):
        series = frame.drop_in_place(str(i))
        if dialect.kinds[i] == "words":
            series = series.cast(pl.String)
            found = _late_numbers(series, dialect.decimal_comma)
            if found is None:
                left_out.append((name, "holds words"))
                continue
            series = found
        unit = dialect.units[i]
        if dialect.kinds[i] == "clock":
            series, unit = _seconds(series), "s"
        elif dialect.kinds[i] == "text":
            series = _numbers(series)
        empty = series.null_count()
        if 0 < empty < SPARSE_FRAC * len(series):
            done.append(Done("cells without a number left out", name, empty))
        columns.append(Column(name, unit, _array(series)))
    return RawLog("CSV", (Group(tuple(columns)),), tuple(done), tuple(left_out))


def _array(series: pl.Series) -> Floats:
    array: Floats = series.to_numpy(allow_copy=True)
    return np.ascontiguousarray(array, dtype=np.float64)


def _numbers(series: pl.Series) -> pl.Series:
    """Numbers with a percent sign, a decimal comma in quotes or a mark for the thousands."""
    import polars as pl

    told = {text: number_in(text) for text in series.unique().drop_nulls().to_list()}
    return series.replace_strict(told, return_dtype=pl.Float64, default=None)


def _late_numbers(series: pl.Series, decimal_comma: bool) -> pl.Series | None:
    """Numbers of a column that begins with words, such as "no fix"; None where words prevail."""
    import polars as pl

    text = series.str.replace(",", ".", literal=True) if decimal_comma else series
    numbers = text.str.strip_chars().cast(pl.Float64, strict=False)
    filled = len(series) - series.null_count()
    return numbers if 2 * (len(numbers) - numbers.null_count()) > filled else None


def _seconds(series: pl.Series) -> pl.Series:
    """Seconds of clocks such as 1:23.456, 12:01:23,4 or 2024-05-01T12:01:23.456Z."""
    import polars as pl

    text = series.str.strip_chars().str.replace(",", ".", literal=True)
    day = text.str.extract(r"^(\d{4}-\d\d?-\d\d?)").str.to_date("%Y-%m-%d", strict=False)
    turned = text.str.extract(r"^(\d\d?[./]\d\d?[./]\d{4})").str.replace_all("/", ".", literal=True)
    day = day.fill_null(turned.str.to_date("%d.%m.%Y", strict=False))
    days = day.cast(pl.Int32).cast(pl.Float64).fill_null(0.0)
    clock = text.str.extract_groups(r"(?:(\d{1,3}):)?(\d{1,3}):(\d\d(?:\.\d+)?)")
    parts = clock.struct.unnest().cast(pl.Float64, strict=False)
    hours, minutes, seconds = parts.get_columns()
    total: pl.Series = days * 86400.0 + hours.fill_null(0.0) * 3600.0 + minutes * 60.0 + seconds
    return total


# ---------------------------------------------------------------- one row per channel and sample


def _long_columns(dialect: Dialect) -> dict[str, int] | None:
    """Places of time, channel, value and unit in a table of that shape; None for any other."""
    if not 3 <= len(dialect.names) <= 6 or "words" not in dialect.kinds:
        return None
    found: dict[str, int] = {}
    for i, name in enumerate(dialect.names):
        words = set(words_of(name))
        if dialect.kinds[i] == "words":
            role = "unit" if words & _UNIT_WORDS else "channel"
            if role == "unit" or words & _CHANNEL_WORDS or "channel" not in found:
                found[role] = i
        elif "time_s" in read_name(name, dialect.units[i]).candidates:
            found.setdefault("time", i)
        elif words & _VALUE_WORDS:
            found["value"] = i
    return found if {"time", "channel", "value"} <= set(found) else None


def _long(frame: pl.DataFrame, dialect: Dialect, place: dict[str, int]) -> RawLog:
    """Groups of one channel each; rows are gathered by channel, in their order."""

    at = {role: str(i) for role, i in place.items()}
    for role in ("time", "value"):
        kind, column = dialect.kinds[place[role]], frame[at[role]]
        if kind != "number":
            read = _seconds(column) if kind == "clock" else _numbers(column)
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
    groups = []
    for i, row in enumerate(firsts):
        unit = frame[at["unit"]][row] if "unit" in at else None
        name = str(frame[at["channel"]][row]).strip()
        clock = dialect.names[place["time"]], dialect.units[place["time"]]
        if dialect.kinds[place["time"]] == "clock":
            clock = clock[0], "s"
        time = Column(*clock, columns["time"][i])
        value = Column(name, str(unit or "").strip(), columns["value"][i])
        groups.append(Group((time, value), rows=columns["rows"][i].astype(np.int64)))
    groups.sort(key=lambda one: 0 if one.rows is None else int(one.rows[0]))
    done = (Done("rows without a number left out", None, empty),) if empty else ()
    return RawLog("CSV, one row per channel and sample", tuple(groups), done)
