"""Parquet logs: one column per channel."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from foreaft.base.errors import InputError
from foreaft.logs.csv_reader import too_large, unreadable
from foreaft.logs.raw import MAX_CELLS, MAX_COLUMNS, Column, Group, RawLog
from foreaft.logs.recording import Done, Floats

if TYPE_CHECKING:
    import polars as pl

MAGIC = b"PAR1"


def read_parquet(file: Path) -> RawLog:
    """Read a Parquet log.

    Raises
    ------
    InputError
        If it is damaged, too large, or holds no numbers.
    """
    import polars as pl

    try:
        scan = pl.scan_parquet(file, glob=False)
        kinds = scan.collect_schema()
        rows = int(scan.select(pl.len()).collect().item())
        numeric = [name for name, kind in kinds.items() if _is_numeric(kind)]
        _check(file, rows, len(kinds), len(numeric))
        frame = scan.select(numeric).collect()
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as error:
        raise unreadable(file, error) from error
    columns, done = [], []
    for name in numeric:
        series = frame.drop_in_place(name)
        is_time = series.dtype.is_temporal()
        empty = series.null_count()
        if 0 < empty < 0.5 * rows:
            done.append(Done("cells without a number left out", name, empty))
        columns.append(Column(name, "s" if is_time else "", _array(series), is_time))
    left_out = tuple((name, "holds no numbers") for name in kinds if name not in set(numeric))
    return RawLog("Parquet", (Group(tuple(columns)),), tuple(done), left_out)


def _is_numeric(kind: pl.DataType) -> bool:
    return kind.is_numeric() or kind.is_temporal() or str(kind) == "Boolean"


def _array(series: pl.Series) -> Floats:
    """Numbers as float64; a point in time or a duration in seconds."""
    import polars as pl

    if series.dtype.is_temporal():
        if series.dtype == pl.Date:
            series = series.cast(pl.Datetime("us"))
        unit = getattr(series.dtype, "time_unit", "ns") or "ns"
        per_second = {"ms": 1e3, "us": 1e6, "ns": 1e9}[unit]
        series = series.cast(pl.Int64).cast(pl.Float64) / per_second
    return np.ascontiguousarray(series.cast(pl.Float64).to_numpy(), dtype=np.float64)


def _check(file: Path, rows: int, columns: int, numeric: int) -> None:
    if columns > MAX_COLUMNS or rows * numeric > MAX_CELLS:
        raise too_large(file, rows * max(numeric, 1))
    if numeric < 2 or rows < 2:
        raise InputError(
            "The log holds no table of numbers.",
            code="log_no_table",
            file=file,
            key="table",
            value=f"{numeric} columns of numbers, {rows} rows",
            allowed="at least two columns of numbers and two rows",
            unit="",
            hint="Export the log with one column per channel.",
        )
