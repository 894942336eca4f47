"""Where labels go on a picture: near their points, over nothing, with no line through them.

Each label is tried at many places around its point and put where it hides least; then all are
looked at again in turn, because a later label may have taken a better place away.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Point = tuple[float, float]

REACHES: Final = (9.0, 13.0, 18.0, 25.0, 34.0, 46.0, 62.0, 82.0, 106.0)
TURNS: Final = 28
ROUNDS: Final = 6
CLEAR: Final = 2.0
"""Air kept around a label. [px]"""

LEADER_LEAST: Final = 4.0
"""A label further from its point than this gets a line to it. [px]"""

OWN_PX: Final = 12.0
"""What lies this near to its point belongs to it, and its line may run over it."""

COVERS, OVERLAPS, STRUCK, OUTSIDE = 100.0, 400.0, 200.0, 60.0
CROSSES, GRAZES, FAR = 40.0, 3.0, 1.0
"""Prices of covering a spot, of lying on a label, of a line through a label, of a pixel off the
sheet, of two lines that cross, of a spot a line runs over, of a pixel from the point."""

BAD: Final = 100.0
"""A label whose price beyond its distance reaches this hides something."""

STARTS: Final = 3
TRIED_MOST: Final = 150
"""Of all places of a label so many are looked at, those that are best by themselves."""


class Box(NamedTuple):
    """A label's place: left, top, width, height. [px]"""

    x: float
    y: float
    width: float
    height: float


class Sheet(NamedTuple):
    """What labels must keep to and keep off."""

    width: float
    height: float
    """The sheet that labels may use. [px]"""

    spots: Floats
    """Discs no label may cover: x, y, radius; shape (n, 3). [px]"""


class _Tries(NamedTuple):
    """All places of one label: boxes (k, 4), lines to them (k, 4: from and to), their price."""

    boxes: Floats
    lines: Floats
    drawn: NDArray[np.bool_]
    away: Floats
    price: Floats


class Placed(NamedTuple):
    """Where the labels went, and how many of them still hide something."""

    boxes: list[Box]
    hiding: int


def place(sizes: list[tuple[float, float]], points: list[Point], sheet: Sheet) -> Placed:
    """Put labels of these sizes near these points.

    Parameters
    ----------
    sizes : list of (width, height)
        One label each; the tall ones choose first.
    points : list of (x, y)
        What each label belongs to.
    """
    tries = [_tries(size, point, sheet) for size, point in zip(sizes, points, strict=True)]
    order = sorted(range(len(sizes)), key=lambda i: (-sizes[i][1], -tries[i].price.min(), i))
    found: list[tuple[int, float, dict[int, int]]] = []
    for _ in range(STARTS):
        chosen = _settle(tries, order)
        prices = {i: _now(tries, chosen, i) for i in chosen}
        bad = [i for i in order if prices[i] - tries[i].away[chosen[i]] >= BAD]
        found.append((len(bad), sum(prices.values()), chosen))
        if not bad:
            break
        order = bad + [i for i in order if i not in bad]
    hiding, _, best = min(found, key=lambda one: one[:2])
    boxes = [Box(*map(float, tries[i].boxes[best[i]])) for i in range(len(sizes))]
    return Placed(boxes, hiding)


def _settle(tries: list[_Tries], order: list[int]) -> dict[int, int]:
    """Choose in this order, then again in turn until nobody wants to move."""
    chosen: dict[int, int] = {}
    for _ in range(ROUNDS):
        before = dict(chosen)
        for index in order:
            chosen[index] = int(np.argmin(_price(tries, chosen, index)))
        if chosen == before:
            break
    return chosen


def _now(tries: list[_Tries], chosen: dict[int, int], index: int) -> float:
    return float(_price(tries, chosen, index)[chosen[index]])


def nearest(box: Box, point: Point) -> Point:
    """Give the place on a box that lies nearest to a point."""
    x = min(max(point[0], box.x), box.x + box.width)
    y = min(max(point[1], box.y), box.y + box.height)
    return x, y


def _tries(size: tuple[float, float], point: Point, sheet: Sheet) -> _Tries:
    wide, tall = size
    turns = np.linspace(0.0, 2.0 * np.pi, TURNS, endpoint=False)
    reach, turn = (one.ravel() for one in np.meshgrid(np.array(REACHES), turns, indexing="ij"))
    x = point[0] + np.cos(turn) * (reach + wide / 2.0) - wide / 2.0
    y = point[1] + np.sin(turn) * (reach + tall / 2.0) - tall / 2.0
    boxes = np.column_stack([x, y, np.full_like(x, wide), np.full_like(y, tall)])
    ends = np.column_stack(
        [np.clip(point[0], x, x + wide), np.clip(point[1], y, y + tall)],
    )
    away = np.hypot(ends[:, 0] - point[0], ends[:, 1] - point[1])
    lines = np.column_stack([np.broadcast_to(np.array(point), ends.shape), ends])
    drawn = away > LEADER_LEAST
    price = _covers(boxes, sheet) + FAR * away + drawn * _grazes(lines, point, sheet)
    best = np.argsort(price, kind="stable")[:TRIED_MOST]
    return _Tries(boxes[best], lines[best], drawn[best], away[best], price[best])


def _covers(boxes: Floats, sheet: Sheet) -> Floats:
    """Price of what lies under each place, and of what of it lies off the sheet."""
    x, y, wide, tall = boxes.T
    at = sheet.spots.T[:, None, :]
    across = np.maximum(x[:, None] - at[0], at[0] - (x + wide)[:, None])
    down = np.maximum(y[:, None] - at[1], at[1] - (y + tall)[:, None])
    covered = ((across < CLEAR + at[2]) & (down < CLEAR + at[2])).sum(axis=1)
    out = (
        np.maximum(0.0, CLEAR - x)
        + np.maximum(0.0, x + wide + CLEAR - sheet.width)
        + np.maximum(0.0, CLEAR - y)
        + np.maximum(0.0, y + tall + CLEAR - sheet.height)
    )
    return np.asarray(COVERS * covered + OUTSIDE * out)


def _grazes(lines: Floats, point: Point, sheet: Sheet) -> Floats:
    """Price of the spots a line runs over, those at its own point left out."""
    spots = sheet.spots
    far = np.hypot(spots[:, 0] - point[0], spots[:, 1] - point[1]) > OWN_PX
    x, y, radius = spots[far].T
    dx, dy = (lines[:, 2:] - lines[:, :2]).T[:, :, None]
    at = ((x - point[0]) * dx + (y - point[1]) * dy) / np.maximum(dx * dx + dy * dy, 1e-9)
    at = np.clip(at, 0.0, 1.0)
    gap = np.hypot(point[0] + at * dx - x, point[1] + at * dy - y)
    return np.asarray(GRAZES * (gap < radius + 1.0).sum(axis=1))


def _price(tries: list[_Tries], chosen: dict[int, int], index: int) -> Floats:
    """Price of each place of one label, the others where they are now."""
    mine = tries[index]
    others = [(tries[i], at) for i, at in chosen.items() if i != index]
    if not others:
        return mine.price
    boxes = np.array([one.boxes[at] for one, at in others])
    lines = np.array([one.lines[at] for one, at in others])
    drawn = np.array([one.drawn[at] for one, at in others])
    drawn_here = mine.drawn[:, None]
    clash = (
        OVERLAPS * _overlap(mine.boxes, boxes)
        + STRUCK * (drawn_here & _strikes(mine.lines, boxes))
        + STRUCK * (drawn & _strikes(lines, mine.boxes).T)
        + CROSSES * (drawn & drawn_here & _crosses(mine.lines, lines))
    )
    return np.asarray(mine.price + clash.sum(axis=1))


def _overlap(boxes: Floats, others: Floats) -> NDArray[np.bool_]:
    """Whether each box comes too near each other one, shape (boxes, others)."""
    x, y, wide, tall = boxes.T[:, :, None]
    across = np.minimum(x + wide, others[:, 0] + others[:, 2]) - np.maximum(x, others[:, 0])
    down = np.minimum(y + tall, others[:, 1] + others[:, 3]) - np.maximum(y, others[:, 1])
    return np.asarray((across > -CLEAR) & (down > -CLEAR))


def _strikes(lines: Floats, boxes: Floats) -> NDArray[np.bool_]:
    """Whether each straight line runs through each box with its air, shape (lines, boxes)."""
    first, last = np.zeros((len(lines), len(boxes))), np.ones((len(lines), len(boxes)))
    for axis in (0, 1):
        start, way = lines[:, axis, None], (lines[:, 2 + axis] - lines[:, axis])[:, None]
        way = np.where(np.abs(way) < 1e-9, 1e-9, way)
        low = boxes[:, axis] - CLEAR
        one, other = (low - start) / way, (low + boxes[:, 2 + axis] + 2.0 * CLEAR - start) / way
        first = np.maximum(first, np.minimum(one, other))
        last = np.minimum(last, np.maximum(one, other))
    return np.asarray(first < last)


def _crosses(lines: Floats, others: Floats) -> NDArray[np.bool_]:
    """Whether each straight line crosses each other: both have the other's ends on both sides."""
    a, b = lines[:, None, :2], lines[:, None, 2:]
    c, d = others[None, :, :2], others[None, :, 2:]
    return np.asarray(
        (_side(a, b, c) * _side(a, b, d) < 0.0) & (_side(c, d, a) * _side(c, d, b) < 0.0)
    )


def _side(a: Floats, b: Floats, p: Floats) -> Floats:
    one, other = b - a, p - a
    return np.asarray(one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0])
