"""What cells of a text log hold: numbers and clocks as people and programs write them.

`measured` and `clock_in` judge one cell; `numbers_of` and `seconds_of` turn whole columns.
No cell is ever evaluated.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from foreaft.logs.units import parse_unit

if TYPE_CHECKING:
    import polars as pl

NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?(nan|inf)", re.IGNORECASE)
COMMA_NUMBER: Final = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?")
THOUSANDS: Final = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}(\1\d{3})*")
"""Such a cell may mean thousands or three decimals: ``12,345``."""

_CLOCK: Final = re.compile(
    r"(\d{4}[-./]\d\d?[-./]\d\d?|\d\d?[./-]\d\d?[./-]\d{4})?[T ]*(\d{1,3}:)?\d{1,3}:\d\d([.,]\d+)?"
    r" ?([AaPp]\.?[Mm]\.?)?(Z| ?UTC| ?GMT| ?[+-]\d\d:?\d\d)?"
)
_MEASURED: Final = re.compile(r"([^A-Za-z%°]*[\d.]) ?([A-Za-z%°][A-Za-z%°/.^]*[2²]?)")

_BLANKS: Final = r"[\s'\u00a0\u202f\u2019]"
_SUFFIX: Final = r"[A-Za-z%°][A-Za-z%°/.^]*[2²]?$"


def clock_in(cell: str) -> bool:
    """Whether a cell is a time of day, a lap time or a date with one.

    >>> clock_in("1:02.5"), clock_in("5/3/2026 02:02:11 PM"), clock_in("2026-05-03"), clock_in("7")
    (True, True, False, False)
    """
    return _CLOCK.fullmatch(cell.strip()) is not None


def measured(cell: str) -> tuple[float, str] | None:
    """Give number and unit of a cell such as ``12,5``, ``1.234,5`` or ``80 km/h``; None for words.

    Examples
    --------
    >>> measured("12,5"), measured("1.234,5"), measured("1,234.5"), measured("1 234,5")
    ((12.5, ''), (1234.5, ''), (1234.5, ''), (1234.5, ''))
    >>> measured("80.5 km/h"), measured("=1+2"), measured("3rd")
    ((80.5, 'km/h'), None, None)
    """
    found = _MEASURED.fullmatch(cell.strip())
    number, unit = (found[1], found[2]) if found else (cell, "")
    if unit and parse_unit(unit) is None:
        return None
    text = re.sub(_BLANKS, "", number)
    if text.rfind(",") > text.rfind("."):
        text = text.replace(".", "").replace(",", ".")
    elif "," in text:
        text = text.replace(",", "")
    return (float(text), unit) if NUMBER.fullmatch(text) else None


def numbers_of(series: pl.Series, comma: bool) -> pl.Series:
    """Numbers of a column of text: with units, marks for thousands, either decimal mark.

    ``comma`` says which mark the file has; a column that shows another one is believed.
    """
    import polars as pl

    text = series.str.replace_all(_BLANKS, "").str.replace(_SUFFIX, "")
    commas, points = (int(text.str.contains(_sure(mark)).sum()) for mark in ",.")
    if commas != points:
        comma = commas > points
    other = "." if comma else ","
    grouped = text.str.contains(rf"^[+-]?\d{{1,3}}(\{other}\d{{3}})+(\D|$)")
    plain = text.str.replace_all(other, "", literal=True)
    text = pl.select(pl.when(grouped).then(plain).otherwise(text)).to_series()
    return text.str.replace_all(",", ".", literal=True).cast(pl.Float64, strict=False)


def _sure(mark: str) -> str:
    """Cells in which a mark can only be that of the decimals."""
    one = rf"\{mark}"
    return (
        rf"^[+-]?(\d*{one}(\d{{1,2}}|\d{{4,}})|0{one}\d*|\d{{4,}}{one}\d+)([eE]|$)"
        rf"|\d[.,]\d{{3}}{one}\d*$"
    )


def seconds_of(series: pl.Series) -> pl.Series:
    """Seconds of clocks such as 1:23.456, 12:01:23,4 PM or 2024-05-01T12:01:23.456Z."""
    import polars as pl

    text = series.str.strip_chars().str.replace(",", ".", literal=True)
    days = _days(text).cast(pl.Int32).cast(pl.Float64).fill_null(0.0)
    clock = text.str.extract_groups(r"(?:(\d{1,3}):)?(\d{1,3}):(\d\d(?:\.\d+)?)")
    parts = clock.struct.unnest().cast(pl.Float64, strict=False)
    hours, minutes, seconds = parts.get_columns()
    half = text.str.extract(r"(?i)([ap])\.?m\.?").str.to_lowercase()
    if half.null_count() < len(half):
        hours = hours % 12.0 + 12.0 * (half == "p").cast(pl.Float64)
    total: pl.Series = days * 86400.0 + hours.fill_null(0.0) * 3600.0 + minutes * 60.0 + seconds
    return total


def _days(text: pl.Series) -> pl.Series:
    """Dates in front of the clocks; day and month the way round that keeps the rows together."""
    day = text.str.extract(r"^(\d{4}[-./]\d\d?[-./]\d\d?)").str.replace_all("[./]", "-")
    day = day.str.to_date("%Y-%m-%d", strict=False)
    turned = text.str.extract(r"^(\d\d?[-./]\d\d?[-./]\d{4})").str.replace_all("[-/]", ".")
    ways = [turned.str.to_date(form, strict=False) for form in ("%d.%m.%Y", "%m.%d.%Y")]
    return day.fill_null(min(ways, key=_spread))


def _spread(days: pl.Series) -> tuple[int, int]:
    """How many dates make no sense, and over how many days the others lie."""
    first, last = days.min(), days.max()
    apart = (last - first).days if first is not None and last is not None else 0  # type: ignore[operator,union-attr]
    return days.null_count(), apart
