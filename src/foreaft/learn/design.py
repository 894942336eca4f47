"""The run sheet of a trial: which setting on which lap, and which laps count.

The settings are gone through from the first to the last and back, then the other way about:
there, back, back, there (for two settings A and B: ABBA BAAB).
A steady drift then moves both settings alike, and with two settings a bent one too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

Kind = Literal["out", "warm", "settle", "counted", "in"]

FEWEST_BLOCKS: Final = 2


@dataclass(frozen=True)
class Run:
    """One lap of the run sheet; ``passage`` counts the ways through all settings, from 1."""

    lap: int
    stint: int
    setting: float
    kind: Kind
    passage: int | None = None
    first_time: bool = False


@dataclass(frozen=True)
class Habits:
    """What laps cost besides those that count."""

    warm_laps: int
    settle_laps: int
    stint_laps: int


def laps_of_block(settings: int, habits: Habits, settle_first: bool) -> int:
    """Laps of one way there and back, without out-lap, warm laps and in-lap."""
    changes = 2 * (settings - 1) + (1 if settle_first else 0)
    return 2 * settings + changes * habits.settle_laps


def shortest_stint(settings: int, habits: Habits) -> int:
    """Laps of a stint that holds any one block."""
    return 2 + habits.warm_laps + laps_of_block(settings, habits, True)


def run_sheet(settings: tuple[float, ...], blocks: int, habits: Habits) -> tuple[Run, ...]:
    """Give the laps of so many blocks, each once there and back through all settings.

    Parameters
    ----------
    settings : tuple of float
        The forward one first: every stint begins with it.
    blocks : int
        Each gives two pairs of laps for any two of the settings.
    habits : Habits
        A stint must hold :func:`shortest_stint` laps.
    """
    laps: list[Run] = []
    met: set[float] = set()

    def drive(stint: int, setting: float, kind: Kind, passage: int | None = None) -> None:
        laps.append(Run(len(laps) + 1, stint, setting, kind, passage, setting not in met))
        met.add(setting)

    def begin(stint: int) -> int:
        drive(stint, settings[0], "out")
        for _ in range(habits.warm_laps):
            drive(stint, settings[0], "warm")
        return 1 + habits.warm_laps

    stint, used = 1, 0
    for block in range(blocks):
        there = settings if block % 2 == 0 else settings[::-1]
        if used:
            length = laps_of_block(len(settings), habits, laps[-1].setting != there[0])
            if used + length + 1 > habits.stint_laps:
                drive(stint, laps[-1].setting, "in")
                stint, used = stint + 1, 0
        if not used:
            used = begin(stint)
        at = len(laps)
        for turn, setting in enumerate((*there, *there[::-1])):
            if setting != laps[-1].setting:
                for _ in range(habits.settle_laps):
                    drive(stint, setting, "settle")
            drive(stint, setting, "counted", 2 * block + 1 + turn // len(settings))
        used += len(laps) - at
    drive(stint, laps[-1].setting, "in")
    return tuple(laps)


def blocks_in(stints: int, settings: tuple[float, ...], habits: Habits) -> int:
    """Blocks that so many stints hold."""
    blocks = stints  # a stint holds one at least
    for _ in range(stints * habits.stint_laps):
        if run_sheet(settings, blocks + 1, habits)[-1].stint > stints:
            break
        blocks += 1
    return blocks


def in_words(laps: tuple[Run, ...], show: Callable[[float], str] = "{:g}".format) -> str:
    """Give the settings of the counted laps in order, stints apart."""
    said: list[str] = []
    for before, lap in zip((laps[0], *laps[:-1]), laps, strict=True):
        if lap.stint != before.stint:
            said.append("|")
        if lap.kind == "counted":
            said.append(show(lap.setting))
    return " ".join(said)
