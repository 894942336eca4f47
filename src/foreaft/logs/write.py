"""Writing logs: CSV with a column per channel, CSV with a row per sample, Parquet, MDF4.

A table has one clock; channels of other rates are put on it, linearly or by the last value, and a
cell is empty where the sensor was silent.
MDF4 and the CSV with a row per sample keep each channel's own rate.
The same log gives the same bytes.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.util import find_spec
from itertools import groupby
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from foreaft import __version__
from foreaft.base.errors import InputError, MissingPart
from foreaft.logs.channels import CHANNELS
from foreaft.logs.instruments import Log, Samples, Session, inside
from foreaft.logs.recording import HELD, Floats
from foreaft.logs.units import parse_unit

if TYPE_CHECKING:
    import polars as pl

Format = Literal["csv", "long-csv", "parquet", "mdf4"]

ENDINGS: Final[dict[str, str]] = {
    "csv": ".csv",
    "long-csv": ".csv",
    "parquet": ".parquet",
    "mdf4": ".mf4",
}

CHUNK_ROWS: Final = 20_000
"""Rows of a table in memory at once."""

PAUSE_S: Final = 120.0
"""Between two sessions on a clock that runs on."""

WHOLE: Final = HELD - {"setting"}
"""Channels of whole numbers."""

MDF_START: Final = datetime(2000, 1, 1, tzinfo=UTC)
"""The clock of an MDF4 file starts at no real day: a made log has none, and bytes must repeat."""


@dataclass(frozen=True)
class Style:
    """How a log is written.

    Parameters
    ----------
    headings : {"names", "words"}
        Names of the catalogue in SI, or words in the units people read (km/h, bar, g, degrees),
        rounded as a logger shows them; with a head that says what was recorded in CSV.
    units : {"row", "brackets", "none"}
        In CSV, units in a row of their own, behind the heading, or nowhere.
    delimiter : {",", ";", tab}
    decimal_comma : bool
    fill : {"interpolate", "hold"}
        How a table shows channels of other rates; what changes in steps is always held.
    table_hz : float, optional
        Rows a second of a table; the logger's own if None.
    """

    headings: Literal["names", "words"] = "names"
    units: Literal["row", "brackets", "none"] = "row"
    delimiter: Literal[",", ";", "\t"] = ","
    decimal_comma: bool = False
    fill: Literal["interpolate", "hold"] = "interpolate"
    table_hz: float | None = None


@dataclass(frozen=True)
class Written:
    """What was done to the rows of a file."""

    rows: int
    rows_twice: int
    rows_swapped: int
    starts_s: tuple[float, ...]
    """What the clock of the file shows at the start of each session."""


@dataclass(frozen=True)
class Heading:
    """One column: its words, its unit, its factor from SI, and the digits it is rounded to."""

    text: str
    unit: str
    factor: float = 1.0
    digits: int | None = None


_WORDS: Final[dict[str, tuple[str, str, int]]] = {
    "time_s": ("Time", "s", 4),
    "distance_m": ("Distance", "m", 2),
    "speed_mps": ("Speed", "km/h", 2),
    "accel_x_mps2": ("Acceleration X", "g", 4),
    "accel_y_mps2": ("Acceleration Y", "g", 4),
    "yaw_rate_radps": ("Yaw rate", "deg/s", 3),
    "steer_rad": ("Steer angle delta", "deg", 3),
    "steering_wheel_rad": ("Steering wheel angle", "deg", 2),
    "throttle_frac": ("Throttle", "%", 2),
    "brake_pedal_frac": ("Brake pedal", "%", 2),
    "pedal_force_N": ("Brake pedal force", "N", 1),
    "pressure_front_Pa": ("Brake pressure front", "bar", 3),
    "pressure_rear_Pa": ("Brake pressure rear", "bar", 3),
    "wheel_speed_front_left_radps": ("Wheel speed FL", "rad/s", 3),
    "wheel_speed_front_right_radps": ("Wheel speed FR", "rad/s", 3),
    "wheel_speed_rear_left_radps": ("Wheel speed RL", "rad/s", 3),
    "wheel_speed_rear_right_radps": ("Wheel speed RR", "rad/s", 3),
    "latitude_deg": ("Latitude", "deg", 8),
    "longitude_deg": ("Longitude", "deg", 8),
    "position_x_m": ("Position X", "m", 3),
    "position_y_m": ("Position Y", "m", 3),
    "heading_rad": ("Heading angle", "rad", 5),
    "gear": ("Gear", "", 0),
    "engine_speed_radps": ("Engine speed", "rpm", 1),
    "lap_count": ("Lap number", "", 0),
    "setting": ("Brake balance setting", "", 3),
}


def heading_of(name: str, unit: str, style: Style) -> Heading:
    """Give the heading of a channel; one outside the catalogue keeps its name and unit."""
    if name not in CHANNELS:
        return Heading(name, unit)
    own = CHANNELS[name].unit
    if style.headings == "names":
        return Heading(name, "" if own == "1" else own)
    words, shown, digits = _WORDS[name]
    there, here = parse_unit(shown), parse_unit(own)
    factor = 1.0 if there is None or here is None or own == "1" else here.factor / there.factor
    return Heading(words, shown, factor, digits)


def write(log: Log, path: Path, form: Format, style: Style | None = None) -> Written:
    """Write a log into one file; a file that is there is replaced.

    The caller makes it whole or nothing: see :func:`files.atomic.filling_folder`.

    Raises
    ------
    InputError
        If the style contradicts itself.
    MissingPart
        For MDF4, if asammdf is not installed.
    """
    chosen = style or Style()
    _check(chosen)
    if form == "mdf4":
        return _write_mdf4(log, path, chosen)
    if form == "parquet":
        return _write_parquet(log, path, chosen)
    if form == "long-csv":
        return _write_long(log, path, chosen)
    return _write_csv(log, path, chosen)


def _check(style: Style) -> None:
    if style.decimal_comma and style.delimiter == ",":
        raise InputError(
            "A decimal comma and cells parted by commas cannot be told apart.",
            code="contradiction",
            key="delimiter",
            value=style.delimiter,
            allowed="; or tab with a decimal comma",
            unit="",
            hint="Take ; as delimiter.",
        )
    if style.table_hz is not None and not 0.1 <= style.table_hz <= 2000.0:
        raise InputError(
            "No log is written so often.",
            code="out_of_range",
            key="table_hz",
            value=style.table_hz,
            allowed="0.1 to 2000",
            unit="Hz",
            hint="100 is usual.",
        )


def cell(text: str) -> str:
    """Give a text cell that no spreadsheet takes for a formula: one such begins with a quote mark.

    Examples
    --------
    >>> cell("=1+1"), cell("-2 Bar"), cell("Speed")
    ("'=1+1", "'-2 Bar", 'Speed')
    """
    clean = " ".join(text.replace("\x00", " ").split())
    return f"'{clean}" if clean[:1] in ("=", "+", "-", "@") else clean


# ---------------------------------------------------------------- tables


def _names(log: Log) -> dict[str, str]:
    """Channels of all sessions with their units, in the order of the logger."""
    return {one.name: one.unit for session in log.sessions for one in session.samples}


def _headings(log: Log, style: Style) -> dict[str, Heading]:
    names = {"time_s": "s", **_names(log)}
    found = {name: heading_of(name, unit, style) for name, unit in names.items()}
    twice = [text for text, n in Counter(one.text for one in found.values()).items() if n > 1]
    if twice:
        raise InputError(
            "Two channels would have the same heading.",
            code="repeated",
            key="channel",
            value=twice[0],
            allowed="each heading once",
            unit="",
            hint="Name the channel otherwise.",
        )
    return found


def _starts(log: Log, restarts: bool) -> tuple[float, ...]:
    """What the clock shows at the start of each session: 0 again, or on after a pause."""
    starts, now = [], 0.0
    for session in log.sessions:
        starts.append(0.0 if restarts else now)
        now += float(ceil(session.duration_s)) + PAUSE_S
    return tuple(starts)


def on_grid(one: Samples, times_s: Floats, fill: str) -> Floats:
    """Put a channel on other times, shape (n,); NaN where its sensor was silent or not yet begun.

    Parameters
    ----------
    one : Samples
    times_s : ndarray, shape (n,)
        Rising, from the start of the session. [s]
    fill : {"interpolate", "hold"}
    """
    before = np.searchsorted(one.time_s, times_s + 1e-9, side="right") - 1
    if one.held or fill == "hold":
        value = one.value[np.maximum(before, 0)].astype(np.float64)
    else:
        value = np.interp(times_s, one.time_s, one.value)
    value[before < 0] = np.nan
    if one.rate_hz > 0.0:
        value[inside(times_s, one.silent_s)] = np.nan
    return value


def _shown(value: Floats, heading: Heading) -> Floats:
    if heading.factor != 1.0:
        value = value * heading.factor
    return value if heading.digits is None else np.asarray(np.round(value, heading.digits) + 0.0)


class _Rows:
    """Rows of a table, piece by piece, with what the logger does to their order."""

    def __init__(self, log: Log, style: Style) -> None:
        self.log, self.style = log, style
        self.rate = style.table_hz or log.logger.table_hz
        self.headings = _headings(log, style)
        self.starts = _starts(log, log.logger.sessions > 1)
        self.rows = self.twice = self.swapped = 0

    def pieces(self) -> Iterator[dict[str, Floats]]:
        """Columns by channel, as shown."""
        for number, session in enumerate(self.log.sessions):
            count = int(session.duration_s * self.rate + 1e-6) + 1
            for first in range(0, count, CHUNK_ROWS):
                place = np.arange(first, min(first + CHUNK_ROWS, count), dtype=np.float64)
                yield self._piece(number, session, place / self.rate)

    def _piece(self, number: int, session: Session, times: Floats) -> dict[str, Floats]:
        order = self.order(number, int(times[0] * self.rate + 0.5), len(times))
        columns = {"time_s": _shown(self.starts[number] + times, self.headings["time_s"])[order]}
        there = {one.name: one for one in session.samples}
        for name, heading in list(self.headings.items())[1:]:
            if name in there:
                value = _shown(on_grid(there[name], times, self.style.fill), heading)[order]
            else:
                value = np.full(len(order), np.nan)
            columns[name] = value
        self.rows += len(order)
        return columns

    def order(self, number: int, place: int, count: int) -> Any:
        """Rows in the order in which they are written."""
        logger = self.log.logger
        order = np.arange(count)
        if logger.swapped_frac <= 0.0 and logger.twice_frac <= 0.0:
            return order
        random = np.random.default_rng([self.log.seed, 7, number, place])
        early = np.flatnonzero(random.random(count)[:-1] < logger.swapped_frac)
        last = -2
        for i in early.tolist():
            if i > last + 1:
                order[i], order[i + 1] = order[i + 1], order[i]
                self.swapped += 1
                last = i
        again = np.where(random.random(count) < logger.twice_frac, 2, 1)
        self.twice += int((again == 2).sum())
        return np.repeat(order, again)

    def told(self) -> Written:
        """What was done."""
        return Written(self.rows, self.twice, self.swapped, self.starts)


def _frame(columns: dict[str, Floats], headings: dict[str, Heading]) -> pl.DataFrame:
    import polars as pl

    series = []
    for name, value in columns.items():
        one = pl.Series(headings[name].text, value, dtype=pl.Float64).fill_nan(None)
        series.append(one.cast(pl.Int64) if name in WHOLE else one)
    return pl.DataFrame(series)


def _write_csv(log: Log, path: Path, style: Style) -> Written:
    rows = _Rows(log, style)
    with path.open("wb") as stream:
        stream.write(_head(log, list(rows.headings.values()), style))
        for columns in rows.pieces():
            stream.write(_body(_frame(columns, rows.headings), style))
    return rows.told()


def _head(log: Log, headings: Sequence[Heading], style: Style) -> bytes:
    """Lines above the numbers: what was recorded, names, units."""
    text = io.StringIO()
    out = csv.writer(text, delimiter=style.delimiter, lineterminator="\n")
    if style.headings == "words":
        for key, value in log.about.items():
            out.writerow([cell(key), cell(value)])
        if log.about:
            out.writerow([])
    brackets = style.units == "brackets"
    out.writerow(
        [
            cell(f"{one.text} [{one.unit}]" if brackets and one.unit else one.text)
            for one in headings
        ]
    )
    if style.units == "row":
        out.writerow([one.unit for one in headings])
    return text.getvalue().encode()


def _titled(heading: Heading, brackets: bool) -> str:
    return f"{heading.text} [{heading.unit}]" if brackets and heading.unit else heading.text


def _body(frame: pl.DataFrame, style: Style) -> bytes:
    text = io.BytesIO()
    frame.write_csv(text, include_header=False, separator=style.delimiter)
    data = text.getvalue()
    # The cells of a table are numbers: no other point stands there.
    return data.replace(b".", b",") if style.decimal_comma else data


def _write_parquet(log: Log, path: Path, style: Style) -> Written:
    import polars as pl

    rows = _Rows(log, style)
    brackets = style.headings == "words" and style.units != "none"
    headings = {
        name: Heading(_titled(one, brackets), one.unit) for name, one in rows.headings.items()
    }
    pl.concat(_frame(columns, headings) for columns in rows.pieces()).write_parquet(
        path, compression="zstd", row_group_size=CHUNK_ROWS * 5
    )
    return rows.told()


# ---------------------------------------------------------------- one row per sample

WINDOW_S: Final = 20.0
"""So much of a session is put in order of time at once."""


def _write_long(log: Log, path: Path, style: Style) -> Written:
    import polars as pl

    rows = _Rows(log, style)
    texts = {
        name: (cell(one.text), one.unit) for name, one in rows.headings.items() if name != "time_s"
    }
    with path.open("wb") as stream:
        head = io.StringIO()
        out = csv.writer(head, delimiter=style.delimiter, lineterminator="\n")
        out.writerow(["time_s", "channel", "value", "unit"])
        stream.write(head.getvalue().encode())
        for number, session in enumerate(log.sessions):
            for first in np.arange(0.0, session.duration_s + 1e-9, WINDOW_S).tolist():
                times, kinds, values = _window(session, first, rows.headings)
                order = rows.order(number, int(first * 1000.0), len(times))
                rows.rows += len(order)
                names = list(texts)
                which = np.array([names.index(one.name) for one in session.samples])[kinds][order]
                shown = np.round(rows.starts[number] + times[order], 6)
                frame = pl.DataFrame({"time": shown, "which": which, "value": values[order]})
                stream.write(_long_body(frame, list(texts.values()), style))
    return rows.told()


def _window(
    session: Session, first: float, headings: dict[str, Heading]
) -> tuple[Floats, Any, Floats]:
    """Samples of a window in order of time: times, places among the session's samples, values."""
    times, kinds, values = [], [], []
    for i, one in enumerate(session.samples):
        a, b = np.searchsorted(one.time_s, [first - 1e-9, first + WINDOW_S - 1e-9])
        times.append(one.time_s[a:b])
        values.append(_shown(one.value[a:b], headings[one.name]))
        kinds.append(np.full(b - a, i))
    time = np.concatenate(times)
    order = np.argsort(time, kind="stable")
    return time[order], np.concatenate(kinds)[order], np.concatenate(values)[order]


def _long_body(frame: pl.DataFrame, texts: list[tuple[str, str]], style: Style) -> bytes:
    import polars as pl

    numbers = [pl.col(name).cast(pl.String) for name in ("time", "value")]
    if style.decimal_comma:
        numbers = [one.str.replace(".", ",", literal=True) for one in numbers]
    labels = pl.DataFrame(
        {
            "which": np.arange(len(texts)),
            "channel": [text for text, _ in texts],
            "unit": [unit for _, unit in texts],
        }
    )
    joined = frame.with_columns(numbers).join(labels, on="which", how="left", maintain_order="left")
    text = io.BytesIO()
    joined.select("time", "channel", "value", "unit").write_csv(
        text, include_header=False, separator=style.delimiter
    )
    return text.getvalue()


# ---------------------------------------------------------------- MDF4


def _write_mdf4(log: Log, path: Path, style: Style) -> Written:
    """One group per sensor at its own rate; sessions follow each other after a pause.

    The order of samples in time is part of the format, so no row is written twice or out of order.
    """
    if find_spec("asammdf") is None:
        raise MissingPart(
            "MDF4 logs need a part that is not installed: asammdf.",
            hint="Run the set-up again, pip install 'foreaft[mdf]', or take another format.",
        )
    from asammdf import MDF, Signal
    from asammdf.blocks.v4_blocks import FileHistory

    starts = _starts(log, False)
    made: Any = MDF(version="4.10")
    with made as mdf:
        mdf.header.start_time = MDF_START
        mdf.header.comment = "; ".join(f"{key}: {value}" for key, value in log.about.items())
        for sensor, group in _groups(log):
            signals = [_signal(Signal, log, one, starts, style) for one in group]
            mdf.append(signals, acq_name=sensor, comment=sensor, common_timebase=True)
        history = FileHistory()
        history.time_stamp = MDF_START
        history.comment = (
            "<FHcomment><TX>recorded from a simulated run</TX><tool_id>foreaft</tool_id>"
            f"<tool_vendor>foreaft</tool_vendor><tool_version>{__version__}</tool_version></FHcomment>"
        )
        mdf.file_history = [history]
        mdf.save(path, overwrite=True, add_history_block=False)
    count = max(len(one.time_s) for session in log.sessions for one in session.samples)
    return Written(count, 0, 0, starts)


def _groups(log: Log) -> list[tuple[str, list[str]]]:
    """Sensors with those of their channels that share all times."""
    clocks: dict[str, tuple[str, list[bytes]]] = {}
    for session in log.sessions:
        for one in session.samples:
            kept = clocks.setdefault(one.name, (one.sensor, []))
            kept[1].append(hashlib.sha256(one.time_s.tobytes()).digest())
    return [
        (clock[0], list(names)) for clock, names in groupby(clocks, key=lambda name: clocks[name])
    ]


def _signal(kind: Any, log: Log, name: str, starts: Sequence[float], style: Style) -> Any:
    times, values, unit = [], [], ""
    for session, start in zip(log.sessions, starts, strict=True):
        for one in session.samples:
            if one.name == name:
                times.append(start + one.time_s)
                values.append(one.value)
                unit = one.unit
    heading = heading_of(name, unit, style)
    return kind(
        samples=_shown(np.concatenate(values), heading),
        timestamps=np.concatenate(times),
        name=heading.text,
        unit=heading.unit,
    )
