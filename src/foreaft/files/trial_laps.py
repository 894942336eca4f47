"""The laps of a trial: a CSV to be filled in by hand, or written from a log.

Columns ``lap,setting`` and any of ``stint,keep,passes,note``; columns ending in ``_events`` count
incidents; every other column is something measured, named with its unit (``lap_time_s``).
An empty cell was not measured; an empty count is none.
"""

from __future__ import annotations

import csv
import difflib
import io
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from foreaft.base.errors import InputError
from foreaft.files.atomic import write_file
from foreaft.files.read import read_text
from foreaft.files.sheet import delimiter, records

UNITS: Final = ("s", "m", "mps", "mps2", "radps", "rad", "deg", "frac", "bar", "degC")
PLAIN: Final = ("lap", "stint", "setting", "keep", "passes", "note")
MAX_ROWS: Final = 2000
MAX_COLUMNS: Final = 60
LARGEST: Final = 1e6
"""No lap, distance, temperature or setting is larger; a misplaced decimal mark is."""

_ENDPOINT = re.compile(rf"[a-z][a-z0-9_]*_({'|'.join(UNITS)})")
_EVENTS = re.compile(r"[a-z][a-z0-9_]*_events")
_TAKES = re.compile(r"(lap|z\d+)_time_s")
"""What takes time, and so more than none of it."""
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,3})?")


@dataclass(frozen=True)
class LapRow:
    """One row: what was driven and what was measured; ``keep`` None without that column."""

    line: int
    lap: int
    stint: int
    setting: float
    keep: bool | None
    passes: int
    values: dict[str, float]
    events: dict[str, int]


@dataclass(frozen=True)
class LapSheet:
    """The laps of a file in driving order, and what was measured, in the order of the columns.

    ``places`` are the decimals of the settings as they were typed.
    """

    file: str
    rows: tuple[LapRow, ...]
    endpoints: tuple[str, ...]
    events: tuple[str, ...]
    has_keep: bool
    has_passes: bool
    places: int = 0
    from_log: bool = False


def unit_of(endpoint: str) -> str | None:
    """Give the unit an endpoint's name ends in; None where it ends in none.

    >>> unit_of("z03_time_s"), unit_of("slip_difference_frac"), unit_of("speed")
    ('s', 'frac', None)
    """
    found = _ENDPOINT.fullmatch(endpoint)
    return found[1] if found else None


def read_laps(path: str | os.PathLike[str]) -> LapSheet:
    """Read the laps of a trial.

    Raises
    ------
    InputError
        With file, line, column, value, what is allowed and a hint.
    """
    file = Path(path)
    try:
        text = read_text(file)
    except InputError as error:
        if error.code in ("file_too_large", "file_not_text"):
            raise _no_sheet(str(file), None, error.value or "") from error
        raise
    return parse_laps(text, str(file))


def has_laps(path: str | os.PathLike[str]) -> bool:
    """Whether a file is headed like the laps of a trial; what else is wrong, its reader says."""
    try:
        _, header = next(records(read_text(path), None), (0, []))
    except InputError:
        return False
    return {"lap", "setting"} <= {cell.strip() for cell in header}


def parse_laps(text: str, file: str) -> LapSheet:
    """Make the laps of a trial from the text of a CSV; ``InputError`` as for ``read_laps``."""
    lines = list(records(text, file))
    if not lines:
        raise _wrong(file, 1, "header", "", "The file holds no header.", "lap,setting,lap_time_s")
    columns = tuple(cell.strip() for cell in lines[0][1])
    _check_header(columns, lines[0][0], file)
    if not 1 <= len(lines) - 1 <= MAX_ROWS:
        raise _wrong(
            file, None, "rows", len(lines) - 1, "Too few or too many laps.", f"1 to {MAX_ROWS}"
        )
    comma = delimiter(text) != ","
    rows: list[LapRow] = []
    for line, cells in lines[1:]:
        if len(cells) != len(columns):
            said = "This row has another number of cells than the header."
            raise _wrong(file, line, "row", len(cells), said, str(len(columns)))
        row = dict(zip(columns, (cell.strip() for cell in cells), strict=True))
        rows.append(_row(_Cells(file, line, row, comma)))
        _check_order(rows, file)
    endpoints = tuple(one for one in columns if unit_of(one) is not None)
    events = tuple(one for one in columns if _EVENTS.fullmatch(one))
    at = columns.index("setting")
    places = max(
        len(cells[at].strip().replace(",", ".").partition(".")[2]) for _, cells in lines[1:]
    )
    has = ("keep" in columns, "passes" in columns)
    return LapSheet(file, tuple(rows), endpoints, events, *has, places)


@dataclass(frozen=True)
class _Cells:
    file: str
    line: int
    row: dict[str, str]
    comma: bool

    def wrong(
        self,
        column: str,
        allowed: str,
        said: str = "A number belongs here.",
        hint: str | None = None,
    ) -> InputError:
        more = {} if hint is None else {"hint": hint}
        return _wrong(self.file, self.line, column, self.row[column][:60], said, allowed, **more)

    def number(self, column: str) -> float:
        cell = self.row[column]
        allowed = f"a number from {-LARGEST:g} to {LARGEST:g}"
        if (
            not cell.isascii()
            or _NUMBER.fullmatch(cell) is None
            or ("," in cell and not self.comma)
        ):
            raise self.wrong(column, allowed, hint=_in_seconds(column, cell))
        found = float(cell.replace(",", "."))
        if _TAKES.fullmatch(column) and found <= 0.0:
            raise self.wrong(column, f"a time above 0, up to {LARGEST:g}", "A time is above 0.")
        if abs(found) > LARGEST:
            raise self.wrong(column, allowed, "This number is too large.")
        return found

    def whole(self, column: str, least: int, empty: int | None) -> int:
        cell = self.row.get(column, "")
        if not cell and empty is not None:
            return empty
        allowed = f"a whole number from {least} to 10000"
        if re.fullmatch(r"\d{1,5}", cell) is None or not cell.isascii():
            raise self.wrong(column, allowed, "A whole number belongs here.")
        found = int(cell)
        if not least <= found <= 10000:
            raise self.wrong(column, allowed, "This number is out of range.")
        return found


def _in_seconds(column: str, cell: str) -> str | None:
    """How a time with a colon is written here; None for anything else."""
    found = re.fullmatch(r"(\d{1,2}):([0-5]\d(?:[.,]\d{1,6})?)", cell)
    if found is None or not cell.isascii() or not column.endswith("_s"):
        return None
    seconds = 60 * int(found[1]) + float(found[2].replace(",", "."))
    return f"Write it in seconds: {seconds:.10g}."


def _row(cells: _Cells) -> LapRow:
    passes = cells.whole("passes", 1, 1)
    events = {}
    for column in cells.row:
        if _EVENTS.fullmatch(column):
            events[column] = cells.whole(column, 0, 0)
            if "passes" in cells.row and events[column] > passes:
                raise cells.wrong(column, f"0 to {passes}, the passes", "More events than passes.")
    return LapRow(
        line=cells.line,
        lap=cells.whole("lap", 1, None),
        stint=cells.whole("stint", 1, 1),
        setting=cells.number("setting"),
        keep=_keep(cells),
        passes=passes,
        values={one: cells.number(one) for one, cell in cells.row.items() if unit_of(one) and cell},
        events=events,
    )


def _keep(cells: _Cells) -> bool | None:
    if "keep" not in cells.row:
        return None
    if cells.row["keep"].lower() not in ("yes", "no"):
        raise cells.wrong("keep", "yes, no", "yes or no belongs here.")
    return cells.row["keep"].lower() == "yes"


def _check_order(rows: list[LapRow], file: str) -> None:
    if len(rows) < 2:
        return
    before, row = rows[-2:]
    for key, ok in (("lap", row.lap > before.lap), ("stint", row.stint >= before.stint)):
        if not ok:
            least = before.lap + 1 if key == "lap" else before.stint
            said = f"The {key}s do not go up."
            raise _wrong(file, row.line, key, getattr(row, key), said, f"{least} or more")


def _no_sheet(file: str, line: int | None, value: object) -> InputError:
    """Nothing like the laps of a trial; a log, most likely."""
    return _wrong(
        file,
        line,
        "file" if line is None else "header",
        value,
        "This is no sheet of laps.",
        "a CSV with the columns lap and setting, or the debrief.json of a log",
        "A log is debriefed first: foreaft debrief LOG --out debrief, then: foreaft trial judge "
        "debrief/debrief.json.",
    )


def _check_header(columns: tuple[str, ...], line: int, file: str) -> None:
    if not {"lap", "setting"} & {one.lower() for one in columns}:
        raise _no_sheet(file, line, ",".join(columns)[:120])
    for one in columns:
        if one not in PLAIN and unit_of(one) is None and not _EVENTS.fullmatch(one):
            near = difflib.get_close_matches(one, PLAIN, 1)
            hint = f"Did you mean {near[0]}?" if near else "Give it its unit, such as lap_time_s."
            ends = ", ".join(f"_{unit}" for unit in UNITS)
            raise _wrong(
                file,
                line,
                "header",
                one[:60],
                "This column is not known.",
                f"{', '.join(PLAIN)}, or a small-letter name ending in _events or in {ends}",
                hint,
            )
    for needed in ("lap", "setting"):
        if needed not in columns:
            shown = ",".join(columns)[:120]
            raise _wrong(file, line, "header", shown, f"The column {needed} is missing.", needed)
    twice = [one for one in columns if columns.count(one) > 1]
    if twice or len(columns) > MAX_COLUMNS:
        value = twice[0] if twice else len(columns)
        said = "A column stands there twice." if twice else "Too many columns."
        raise _wrong(file, line, "header", value, said, f"each once, {MAX_COLUMNS} at most")


def _wrong(
    file: str,
    line: int | None,
    key: str,
    value: object,
    said: str,
    allowed: str,
    hint: str = "Make a sheet to fill in: foreaft new trial-laps, or foreaft trial design --out.",
) -> InputError:
    return InputError(
        said,
        code="trial_laps",
        file=file,
        line=line,
        key=key,
        value=value,
        allowed=allowed,
        unit="",
        hint=hint,
    )


def write_laps(path: Path, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> Path:
    """Write a sheet to be filled in; one that exists, and may be filled in already, is kept.

    Raises
    ------
    InputError
        If the file exists or cannot be written.
    """
    if path.exists() or path.is_symlink():
        raise InputError(
            "There is a file of this name already; it was left alone.",
            code="file_exists",
            file=path,
            key="file",
            value=path.name,
            allowed="a name not yet used",
            unit="",
            hint="Choose another name.",
        )
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return write_file(path, out.getvalue())
