"""Is this the shape of a circuit? Checks of points and edges, each refusing by name.

Nothing is repaired: the first thing found wrong is told, with its row where the file has rows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from foreaft.base.errors import InputError
from foreaft.track.geometry import Floats, chord_lengths, edge_crossings

Where = Callable[[int], int | None]
"""From the number of a point to the line of the file it stands in."""

MIN_POINTS = 10
MAX_JUMP_M = 100.0
MAX_COARSE_JUMP_M = 2500.0
"""Between two points of a longitude/latitude line: longer than any straight of a circuit."""

CROSSING_WINDOW_M = 30.0
REPEATED_M = 1e-3

GAP_RATIO, GAP_LEAST_M = 10.0, 25.0
"""A hole is longer than both: so many median spacings, and so many metres."""

CLOSED_RATIO = 2.0
"""Ends within so many median spacings of each other make a lap."""

MAX_TURN_RAD = np.radians(150.0)
"""From one piece of the line to the next; a hairpin drawn by two points turns 90 degrees twice."""

LENGTH_RANGE_M = (100.0, 100_000.0)
MAX_SLOPE = 1.0


def rows_of(rows: Sequence[int]) -> Where:
    return lambda index: rows[index % len(rows)]


def checked_shape(
    file: Path,
    points: Floats,
    where: Where,
    closed: bool | None,
    *,
    coarse: bool,
) -> tuple[bool, int]:
    """Whether the road is a lap, and how many points to keep (all, or all but a closing one).

    A coarse line has long straight pieces by nature: there only absurd jumps are refused.
    """
    _check_count(file, len(points))
    chords = chord_lengths(points, closed=False)
    ends = float(np.hypot(*(points[-1] - points[0])))
    _check_repeated(file, chords, points, where)
    median = float(np.median(chords))
    _check_length(file, float(chords.sum()))
    if coarse:
        _check_jumps(file, chords, MAX_COARSE_JUMP_M, MAX_COARSE_JUMP_M, where)
    else:
        hole = max(GAP_RATIO * median, GAP_LEAST_M)
        _check_jumps(file, chords, MAX_JUMP_M, hole, where)
    _check_turns(file, points, where)
    shut = _is_closed(file, ends, median, closed, where(len(points) - 1))
    keep = len(points) - 1 if shut and ends <= REPEATED_M else len(points)
    _check_count(file, keep)
    return shut, keep


def _check_count(file: Path, count: int) -> None:
    if count < MIN_POINTS:
        raise InputError(
            "too few points for a circuit",
            code="circuit_too_few_points",
            file=file,
            key="points",
            value=count,
            allowed=f"{MIN_POINTS} or more",
            unit="points",
            hint="give a point every 2 to 10 metres",
        )


def _check_repeated(file: Path, chords: Floats, points: Floats, where: Where) -> None:
    at = np.flatnonzero(chords <= REPEATED_M)
    if len(at):
        row = int(at[0]) + 1
        raise InputError(
            "this point repeats the one before it",
            code="circuit_repeated_point",
            file=file,
            line=where(row),
            key=f"point {row + 1}",
            value=f"{points[row, 0]:.3f}, {points[row, 1]:.3f}",
            allowed=f"more than {REPEATED_M:g} from the one before",
            unit="m",
            hint="delete one of the two",
        )


def _check_turns(file: Path, points: Floats, where: Where) -> None:
    """Refuse a line that goes back on itself, as rows out of order do."""
    step = np.diff(points, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs((np.diff(heading) + np.pi) % (2.0 * np.pi) - np.pi)
    at = np.flatnonzero(turn > MAX_TURN_RAD)
    if len(at):
        row = int(at[0]) + 1
        raise InputError(
            "the line turns back on itself here",
            code="circuit_turns_back",
            file=file,
            line=where(row),
            key=f"point {row + 1}",
            value=round(float(np.degrees(turn[at[0]]))),
            allowed=f"up to {np.degrees(MAX_TURN_RAD):.0f}",
            unit="deg",
            hint="are the rows in driving order?",
        )


def _check_length(file: Path, length: float) -> None:
    low, high = LENGTH_RANGE_M
    if not low <= length <= high:
        raise InputError(
            "the lap is too short or too long for a circuit",
            code="circuit_length",
            file=file,
            key="length",
            value=round(length, 3),
            allowed=f"{low:g} to {high:g}",
            unit="m",
            hint="x and y are in metres, not in degrees, feet or kilometres",
        )


def _check_jumps(
    file: Path, chords: Floats, max_jump_m: float, hole_m: float, where: Where
) -> None:
    limit = min(max_jump_m, hole_m)
    at = np.flatnonzero(chords > limit)
    if not len(at):
        return
    row = int(at[0])
    jump = chords[row] > max_jump_m
    raise InputError(
        "two points that follow each other lie too far apart"
        if jump
        else "there is a hole between two points",
        code="circuit_jump" if jump else "circuit_gap",
        file=file,
        line=where(row + 1),
        key=f"point {row + 1} to {row + 2}",
        value=round(float(chords[row]), 2),
        allowed=f"up to {limit:.1f}",
        unit="m",
        hint="fill in the points between, or correct the one that is off",
    )


def _is_closed(
    file: Path, ends: float, median: float, closed: bool | None, line: int | None
) -> bool:
    near, far = CLOSED_RATIO * median, max(GAP_RATIO * median, GAP_LEAST_M)
    if closed is None:
        if ends <= near:
            return True
        if ends > far:
            return False
        raise InputError(
            "it is not clear whether this is a closed lap",
            code="circuit_closed_unclear",
            file=file,
            line=line,
            key="last point to first",
            value=round(ends, 2),
            allowed=f"up to {near:.1f} (closed) or more than {far:.1f} (open)",
            unit="m",
            hint="say whether the circuit is closed, or complete the lap",
        )
    if closed and ends > far:
        raise InputError(
            "the circuit is said to be closed but its ends do not meet",
            code="circuit_gap",
            file=file,
            line=line,
            key="last point to first",
            value=round(ends, 2),
            allowed=f"up to {far:.1f}",
            unit="m",
            hint="complete the lap, or say that it is open",
        )
    return closed


def check_sides(file: Path, across: Floats, along: Floats, where: Where) -> None:
    """Refuse edges that stand on the wrong side of the direction of travel."""
    lefts = along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0]
    wrong = np.flatnonzero(lefts <= 0.0)
    if not len(wrong):
        return
    swapped = len(wrong) > len(lefts) // 2
    raise InputError(
        "the left edge lies to the right of the right edge",
        code="edges_swapped" if swapped else "edges_cross",
        file=file,
        line=where(int(wrong[0])),
        key="left edge",
        value=f"{len(wrong)} of {len(lefts)} rows",
        allowed="left of the right edge, looking along the lap",
        unit="",
        hint="swap the two edges, or turn the lap round"
        if swapped
        else "correct the edges at this row",
    )


def check_edges(file: Path, right: Floats, left: Floats, where: Where, closed: bool) -> None:
    hits = edge_crossings(right, left, closed=closed, window_m=CROSSING_WINDOW_M)
    if len(hits):
        row = int(hits[0])
        raise InputError(
            "the two edges of the track cross",
            code="edges_cross",
            file=file,
            line=where(row),
            key=f"point {row + 1}",
            value=f"{right[row, 0]:.1f}, {right[row, 1]:.1f}",
            allowed=f"no crossing within {CROSSING_WINDOW_M:g} along the lap",
            unit="m",
            hint="correct the widths or the order of the points; a bridge further on is fine",
        )


def check_heights(file: Path, heights: Floats | None, points: Floats, where: Where) -> None:
    if heights is None:
        return
    slope = np.abs(np.diff(heights)) / chord_lengths(points, closed=False)
    row = int(np.argmax(slope))
    if slope[row] > MAX_SLOPE:
        raise InputError(
            "the height jumps between two points",
            code="height_jump",
            file=file,
            line=where(row + 1),
            key="height",
            value=round(float(slope[row]), 3),
            allowed=f"up to {MAX_SLOPE:g}",
            unit="m per m",
            hint="correct the height of this point",
        )
