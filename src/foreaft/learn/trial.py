"""The verdict of a trial: laps into pairs, pairs into effects, effects into what may be said.

Plain numbers in, plain numbers out; who reads files and writes sentences stands above.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np

from foreaft.learn.statistics import (
    Effect,
    Pairs,
    effect,
    fisher,
    holm,
    rate_interval,
    resampled,
    scatter_of,
    shuffled,
    smallest_shown,
    zero_between,
)

Verdict = Literal["difference", "no_difference_shown", "cannot_tell"]

REAR_EVENTS_MAX: Final = 2
"""So many rear events at a setting, and it is driven no more (common practice, no source)."""

REAR_COLUMN: Final = "rear_events"

CROSSES_ZERO: Final = "slip_difference"
"""Endpoints whose zero means that both ends slip alike: front minus rear slip."""


@dataclass(frozen=True)
class Lap:
    """One lap as it was driven. ``values`` by endpoint; what was not measured is absent."""

    lap: int
    stint: int
    setting: float
    keep: bool
    passes: int = 1
    values: Mapping[str, float] = field(default_factory=dict)
    events: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Ask:
    """How the laps are to be judged."""

    against: float
    primary: str | None
    level: float
    power: float
    seed: int


@dataclass(frozen=True)
class Compared:
    """One endpoint at one setting against the setting ``against``."""

    endpoint: str
    setting: float
    against: float
    pairs: int
    effect: Effect | None
    verdict: Verdict
    p_adjusted: float | None = None
    counted_together: int = 1
    smallest_shown: float | None = None
    p_shuffled: float | None = None
    p_shuffled_least: float | None = None
    resampled: tuple[float, float] | None = None
    crossover: tuple[float, float, float] | None = None
    why_not: Literal["", "few_pairs", "one_order", "no_scatter"] = ""


@dataclass(frozen=True)
class Rate:
    """Incidents of one kind at one setting: how many in how many passes, with its interval."""

    kind: str
    setting: float
    events: int
    passes: int
    low: float
    high: float
    p: float | None
    p_adjusted: float | None


@dataclass(frozen=True)
class Stopped:
    """A setting that has used up its rear events, and the laps driven at it all the same."""

    setting: float
    at_lap: int
    laps_after: tuple[int, ...]


def settle(laps: Sequence[Lap], settle_laps: int) -> tuple[Lap, ...]:
    """Drop the first laps after each change of setting and at the start of each stint."""
    since = _laps_since_change(laps)
    return tuple(replace(lap, keep=n >= settle_laps) for lap, n in zip(laps, since, strict=True))


def unsettled(laps: Sequence[Lap]) -> list[int]:
    """List laps that count although they are the first after a change, or of a stint."""
    since = _laps_since_change(laps)
    return [lap.lap for lap, n in zip(laps, since, strict=True) if lap.keep and n == 0]


def _laps_since_change(laps: Sequence[Lap]) -> Iterator[int]:
    """Yield how many laps were driven before each at its setting, in its stint.

    Laps that are not in the file count with the setting that follows.
    """
    since, before = 0, None
    for lap in laps:
        missing = lap.lap - (before.lap if before else 0) - 1
        same = before is not None and (before.stint, before.setting) == (lap.stint, lap.setting)
        since = since + 1 + missing if same else missing
        before = lap
        yield since


def pair_up(laps: Sequence[Lap], endpoint: str, setting: float, against: float) -> Pairs:
    """Take neighbouring laps at the two settings as pairs, each lap once, within a stint."""
    change, gap, order, middle = [], [], [], []
    waiting: Lap | None = None
    for lap in laps:
        if not lap.keep or endpoint not in lap.values or lap.setting not in (setting, against):
            continue
        fits = waiting is not None and waiting.stint == lap.stint
        if waiting is None or not fits or waiting.setting == lap.setting:
            waiting = lap  # the nearer of two laps at one setting goes into the pair
            continue
        change.append(lap.values[endpoint] - waiting.values[endpoint])
        middle.append(0.5 * (lap.values[endpoint] + waiting.values[endpoint]))
        gap.append(float(lap.lap - waiting.lap))
        order.append(1.0 if lap.setting == setting else -1.0)
        waiting = None
    return Pairs(np.array(change), np.array(gap), np.array(order), np.array(middle))


def compare(laps: Sequence[Lap], endpoints: Sequence[str], ask: Ask) -> list[Compared]:
    """Compare every other setting with ``ask.against``, endpoint by endpoint.

    The primary endpoint stands alone; all others are counted together (Holm).
    """
    settings = _others(laps, ask.against)
    found = [_one(laps, name, one, ask) for name in endpoints for one in settings]
    primary = [one for one in found if one.endpoint == ask.primary]
    rest = [one for one in found if one.endpoint != ask.primary]
    return [*_judged(primary, ask), *_judged(rest, ask)]


def _others(laps: Sequence[Lap], against: float) -> list[float]:
    """Settings besides the one compared with, in the order they were driven."""
    return [one for one in dict.fromkeys(lap.setting for lap in laps) if one != against]


def _one(laps: Sequence[Lap], endpoint: str, setting: float, ask: Ask) -> Compared:
    pairs = pair_up(laps, endpoint, setting, ask.against)
    found = effect(pairs, ask.level)
    made = Compared(endpoint, setting, ask.against, pairs.change.size, found, "cannot_tell")
    if found is None:
        return replace(made, why_not=_why_not(pairs))
    told = shuffled(pairs, ask.seed)
    p_shuffled, least = (None, None) if told is None else told
    return replace(
        made,
        p_shuffled=p_shuffled,
        p_shuffled_least=least,
        resampled=resampled(pairs, ask.level, ask.seed),
        crossover=_crossover(pairs, found, made, ask.level),
    )


def _crossover(
    pairs: Pairs, found: Effect, made: Compared, level: float
) -> tuple[float, float, float] | None:
    """Setting at which both ends slip alike, with its interval, from the difference of slip."""
    if not made.endpoint.startswith(CROSSES_ZERO):
        return None
    place = zero_between(pairs, found, level)
    if place is None:
        return None
    middle, one, other = (made.against + at * (made.setting - made.against) for at in place)
    return middle, min(one, other), max(one, other)


def _why_not(pairs: Pairs) -> Literal["few_pairs", "one_order", "no_scatter"]:
    if pairs.both_orders:
        return "no_scatter"
    one_way = pairs.change.size > 1 and abs(pairs.order.sum()) == pairs.change.size
    return "one_order" if one_way else "few_pairs"


def _judged(family: list[Compared], ask: Ask) -> list[Compared]:
    """Give the verdicts of comparisons that are counted together."""
    told = [one for one in family if one.effect is not None]
    adjusted = iter(holm([one.effect.p for one in told if one.effect is not None]))
    out = []
    for one in family:
        if one.effect is None:
            out.append(one)
            continue
        p, strict = next(adjusted), ask.level / len(told)
        least = smallest_shown(one.effect.error, one.effect.freedom, strict, ask.power)
        verdict: Verdict = "difference" if p <= ask.level else "no_difference_shown"
        made = replace(one, verdict=verdict, p_adjusted=p, counted_together=len(told))
        out.append(replace(made, smallest_shown=least))
    return out


def incidents(laps: Sequence[Lap], kinds: Sequence[str], ask: Ask) -> list[Rate]:
    """Compare incidents over all laps at each setting, whether their times count or not.

    Without a number of passes a lap is one pass, with an incident or without.
    """
    rates = []
    for kind in kinds:
        base = _count(laps, kind, ask.against)
        rates.append(_rate(kind, ask.against, base, None, ask.level))
        for setting in _others(laps, ask.against):
            count = _count(laps, kind, setting)
            p = fisher((base[0], count[0]), (base[1], count[1]))
            rates.append(_rate(kind, setting, count, p, ask.level))
    adjusted = iter(holm([one.p for one in rates if one.p is not None]))
    return [one if one.p is None else replace(one, p_adjusted=next(adjusted)) for one in rates]


def _count(laps: Sequence[Lap], kind: str, setting: float) -> tuple[int, int]:
    told = [lap for lap in laps if lap.setting == setting]
    events = sum(min(lap.events.get(kind, 0), lap.passes) for lap in told)
    return events, sum(lap.passes for lap in told)


def _rate(kind: str, setting: float, count: tuple[int, int], p: float | None, level: float) -> Rate:
    low, high = rate_interval(*count, level)
    return Rate(kind, setting, *count, low, high, p, None)


def stopped(laps: Sequence[Lap]) -> Iterator[Stopped]:
    """Find settings with too many rear events, and the laps that should not have been driven."""
    for setting in dict.fromkeys(lap.setting for lap in laps):
        seen, at = 0, None
        after: list[int] = []
        for lap in laps:
            if lap.setting != setting:
                continue
            if at is not None:
                after.append(lap.lap)
                continue
            seen += lap.events.get(REAR_COLUMN, 0)
            at = lap.lap if seen >= REAR_EVENTS_MAX else None
        if at is not None:
            yield Stopped(setting, at, tuple(after))


def lap_scatter(laps: Sequence[Lap], endpoint: str) -> float | None:
    """Scatter of an endpoint from lap to lap, in runs of neighbouring laps at one setting."""
    runs: list[list[float]] = []
    before: Lap | None = None
    for lap in laps:
        if not lap.keep or endpoint not in lap.values:
            before = None
            continue
        follows = before is not None and (before.stint, before.setting) == (lap.stint, lap.setting)
        if not follows:
            runs.append([])
        runs[-1].append(lap.values[endpoint])
        before = lap
    return scatter_of([np.array(run) for run in runs])
