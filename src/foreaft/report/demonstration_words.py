"""What is said about driven runs beside the pictures: what went wrong when, and the key moments."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from foreaft.base.units import GRAVITY_MPS2
from foreaft.drive.scene import Scene
from foreaft.drive.trace import Happening
from foreaft.report.demonstration_data import Film, Reel
from foreaft.report.words import Units, direction_of, format_setting, format_speed

_KINDS: Final = {
    "rotation": "the tail comes out",
    "wide": "the car runs wide",
    "off_track": "the car leaves the track",
    "spin": "the car comes round",
    "stopped": "the car stops",
}
PLACES: Final = {
    "brake": "braking begins",
    "turn_in": "turn-in",
    "release": "brakes released as planned",
    "apex": "apex",
}
"""What happens at each mark."""
BRIEF_S: Final = 0.05
"""A shorter happening is given no length."""
SEEN_S: Final = 0.4
"""Half of this after its start something that goes wrong can be seen."""
ALIKE_S: Final = 0.2
"""Two pictures closer than this show the same."""
MOMENTS: Final = 4
"""Pictures of one run where nothing moves."""


class Instant(NamedTuple):
    """A time worth a picture."""

    time_s: float
    words: str


def happening(one: Happening) -> str:
    """Say one thing that went wrong, with its length.

    >>> happening(Happening("lock_up", 1.2, 0.31, 80.0, wheel="front_left", inside=True))
    'the inside front locks, for 0.31 s'
    """
    words = _KINDS.get(one.kind, "")
    if one.kind == "lock_up":
        axle, _, side = (one.wheel or f"{one.axle}_").partition("_")
        if one.inside is not None:
            side = "inside" if one.inside else "outside"
        words = f"the {side} {axle} locks" if side else f"a {axle} wheel locks"
    if one.duration_s < BRIEF_S or one.kind in {"spin", "stopped", "off_track"}:
        return words
    return f"{words}, for {one.duration_s:.2f} s"


def adjuster(scene: Scene) -> str:
    """Say which way the adjuster counts, and its step; nothing where the car has none."""
    if scene.higher_means is None:
        return ""
    way = direction_of(scene.higher_means)
    if scene.step is None:
        return way
    return f"{way}; one step is {format_setting(scene.step, scene.step)}"


def state_of(reel: Reel, row: int, units: Units) -> str:
    """Say speed and braking of one sample."""
    speed = format_speed(float(reel.speed_mps[row]), units)
    pull = -np.gradient(reel.speed_mps, reel.time_s)[row] / GRAVITY_MPS2
    return f"{speed}, slowing at {pull:.1f} g" if pull >= 0.1 else speed


def instants(film: Film, reel: Reel) -> list[Instant]:
    """Choose the moments that tell a run: its marks, and what went wrong first of each kind."""
    found = [
        Instant(time, PLACES[mark.name])
        for mark in film.marks
        if (time := reel.reaches(mark.s_m)) is not None
    ]
    wrong = _wrong(reel)
    if not found and not wrong:
        quarters = [i / MOMENTS * reel.duration_s for i in range(MOMENTS)]
        return [Instant(time, "") for time in quarters]
    apart = [one for one in found if all(abs(one.time_s - w.time_s) > ALIKE_S for w in wrong)]
    kept = _keep(apart, MOMENTS - len(wrong)) + wrong
    if len(kept) < MOMENTS:
        kept.append(Instant(reel.duration_s, "end"))
    return sorted(kept)


def _wrong(reel: Reel) -> list[Instant]:
    """Choose what came first and what was worst of what went wrong; seen when it is under way."""
    shown = [one for one in reel.happenings if 0.0 <= one.start_s <= reel.duration_s]
    if not shown:
        return []
    first, worst = min(shown, key=lambda one: one.start_s), shown[0]
    told = [first] if first.kind == worst.kind else [first, worst]
    return [
        Instant(
            min(one.start_s + 0.5 * min(one.duration_s, SEEN_S), reel.duration_s),
            happening(one).split(",")[0],
        )
        for one in told
    ]


def _keep(marks: list[Instant], count: int) -> list[Instant]:
    """Keep first and last, and those between as far as there is room."""
    if len(marks) <= count:
        return marks
    return [*marks[: count - 1], marks[-1]] if count > 1 else marks[-count:]
