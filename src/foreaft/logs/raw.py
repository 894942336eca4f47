"""What a reader hands over: columns as recorded, before anybody has judged them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.logs.recording import Done, Floats

MAX_CELLS: Final = 60_000_000
"""Most samples of one log: 480 MB of numbers, sixty channels at 100 Hz for 2.7 hours."""

MAX_COLUMNS: Final = 20_000
"""Most columns of one log; a logger has a few hundred."""


HUGE: Final = 1e30
"""Nothing that is recorded in a car, in any unit, is as large: it counts as no number."""


def numbers(values: Floats) -> NDArray[np.bool_]:
    """Whether samples are numbers: neither NaN nor infinite nor huge."""
    return np.asarray(np.abs(values) < HUGE)


@dataclass(frozen=True, eq=False)
class Column:
    """One column: samples as recorded, NaN where the log has no number."""

    name: str
    unit: str
    value: Floats
    is_time: bool = False
    """Whether the log says by how it is written that it is a time: a date, a time of day."""


@dataclass(frozen=True, eq=False)
class Group:
    """Columns that share their rows.

    Parameters
    ----------
    columns : tuple of Column
        Each of shape (n,).
    clock_s : ndarray, shape (n,), optional
        Time of the rows where the format itself says it; else one of the columns holds it. [s]
    rows : ndarray of int, shape (n,), optional
        Rows of the file the samples stood in, where the groups are taken from one table.
    """

    columns: tuple[Column, ...]
    clock_s: Floats | None = None
    rows: NDArray[np.int64] | None = None

    @property
    def size(self) -> int:
        """Number of rows."""
        return len(self.columns[0].value) if self.columns else 0


@dataclass(frozen=True, eq=False)
class RawLog:
    """A log as read: its format, its groups, what the reader had to do, what it left out."""

    form: str
    groups: tuple[Group, ...]
    done: tuple[Done, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()
    """Columns that hold no numbers, each with the reason."""
    driver_name: str | None = None
    """Who drove, where the file says so."""
