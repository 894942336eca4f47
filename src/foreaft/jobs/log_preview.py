"""What columns hold, for whoever has to say what they are: three values and a tiny line each.

All lines of a session show the same stretch of time, so that they can be held against each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from foreaft.jobs.common import Notes
from foreaft.logs.channels import CHANNELS
from foreaft.logs.raw import numbers
from foreaft.logs.read import raw_log
from foreaft.logs.recording import Channel, Floats, Recording
from foreaft.model.answers import ChannelPreview, ReadChannel

SHOWN_MOST: Final = 400
"""So many columns of a log are looked into; nobody looks through more of them."""

STRETCH_S: Final = 120.0
"""About a lap."""

POINTS: Final = 120
DRIVEN_MPS: Final = 15.0
"""The stretch begins where the car first goes so fast: before that it stands or rolls out."""

ORDER: Final = {"asked": 0, "used": 1, "ignored": 2}
DIGITS: Final = 4


Place = tuple[str, int]
"""Name and number of samples of a column: so it is found again among those of its session."""


def previews(recordings: Sequence[Recording], notes: Notes) -> list[dict[Place, ChannelPreview]]:
    """Look into the columns of each session, those that are asked for first."""
    columns = [(number, one) for number, each in enumerate(recordings) for one in each.every()]
    columns.sort(key=lambda one: ORDER[one[1].state])
    if len(columns) > SHOWN_MOST:
        notes.warn(
            "values_not_shown",
            f"the values of {SHOWN_MOST} of {len(columns)} columns are shown, those that are "
            "asked for first",
        )
    times = [_stretch(one) for one in recordings]
    found: list[dict[Place, ChannelPreview]] = [{} for _ in recordings]
    for number, one in columns[:SHOWN_MOST]:
        found[number][one.original_name, len(one.time_s)] = _preview(one, times[number])
    return found


def as_recorded(path: Path) -> list[ReadChannel]:
    """Give the columns of a log nobody has named yet, untouched; their lines run over all rows.

    Raises
    ------
    InputError
        If the file is no log.
    """
    columns = [one for group in raw_log(path).groups for one in group.columns]
    return [
        ReadChannel(
            name=None,
            original_name=one.name,
            original_unit=one.unit,
            rate_hz=0.0,
            samples=len(one.value),
            state="asked",
            note="",
            choices=[],
            preview=_in_rows(one.value, one.unit) if i < SHOWN_MOST else None,
        )
        for i, one in enumerate(columns)
    ]


def _in_rows(values: Floats, unit: str) -> ChannelPreview:
    values = values[numbers(values)]
    drawn = values[np.linspace(0, len(values) - 1, POINTS).astype(int)] if len(values) else values
    return _told(values, drawn, unit)


def _stretch(recording: Recording) -> Floats:
    """Times at which the lines of a session are drawn. [s]"""
    start = 0.0
    if "speed_mps" in recording:
        speed = recording["speed_mps"]
        fast = np.flatnonzero(np.abs(speed.value) > DRIVEN_MPS)
        start = float(speed.time_s[fast[0]]) if len(fast) else 0.0
    end = min(start + STRETCH_S, recording.duration_s)
    return np.linspace(start, end, POINTS)


def _preview(one: Channel, times: Floats) -> ChannelPreview:
    known = one.state == "used" and one.name in CHANNELS
    unit = CHANNELS[one.name].unit if known and one.name is not None else one.original_unit
    return _told(one.value, one.at(times), unit)


def _told(values: Floats, drawn: Floats, unit: str) -> ChannelPreview:
    if len(values) == 0:
        return ChannelPreview(unit=unit, least=None, middle=None, greatest=None, line=[])
    three = np.array([np.min(values), np.median(values), np.max(values)])
    decimals = _decimals(float(three[2] - three[0]) or float(np.abs(three[0])))
    least, middle, greatest = three.round(decimals).tolist()
    line = [x if np.isfinite(x) else None for x in drawn.round(decimals).tolist()]
    return ChannelPreview(unit=unit, least=least, middle=middle, greatest=greatest, line=line)


def _decimals(span: float) -> int:
    """As many as tell a thousandth of the span, and no more."""
    return int(np.clip(DIGITS - 1 - np.floor(np.log10(span)), 0, 12)) if span > 0.0 else 0
