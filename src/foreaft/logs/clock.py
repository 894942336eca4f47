"""Clocks of a log: rows put in order, restarts and long pauses cut into sessions.

Nothing here touches a value; what comes out are the rows to take, and their times.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.logs.recording import GAP_LEAST_S, GAP_STEPS, Done, Floats

Rows = NDArray[np.int64]
Same = Callable[[Rows, Rows], NDArray[np.bool_]]

PAUSE_S: Final = 60.0
"""A longer pause of all channels begins another session; else it is a drop-out (assumption)."""

RESTART_S: Final = 5.0
"""A clock that goes back by more than this may have been restarted (assumption)."""

MAX_RESTARTS: Final = 50
"""More steps back than this are rows out of order, not sessions (assumption)."""

TICK_S: Final = 1e-7
"""Times nearer than this are the same: no logger of a car writes ten million rows a second."""

SHORTEST_S: Final = 1.0
"""A shorter session holds nothing to learn from; it is left out (assumption)."""

FEWEST: Final = 10
"""And one with fewer rows."""

TWICE_FRAC: Final = 0.3
"""Two runs of rows are two sessions where they share this part of their seconds (assumption)."""

DAY_S: Final = 86400.0

BURST_STEP_FRAC: Final = 0.3
"""In bursts, most samples follow within this part of the mean step (assumption)."""


@dataclass
class Session:
    """Rows of each group that belong to one session, and their times as the log has them."""

    rows: list[Rows]
    times: list[Floats]
    done: list[Done] = field(default_factory=list)
    _whole: dict[int, bool] = field(default_factory=dict)

    def of(self, group: int, values: Floats) -> Floats:
        """Give the session's rows of a column; a view where they follow each other."""
        rows = self.rows[group]
        if group not in self._whole:
            self._whole[group] = len(rows) > 0 and bool((np.diff(rows) == 1).all())
        return values[int(rows[0]) : int(rows[-1]) + 1] if self._whole[group] else values[rows]


def sessions_of(
    clocks: Sequence[Floats], places: Sequence[Rows] | None, same: Sequence[Same]
) -> tuple[list[Session], list[Done]]:
    """Cut a log into sessions with clocks that rise.

    Parameters
    ----------
    clocks : sequence of ndarray
        Times of the rows of each group, as recorded; NaN where there is none. [s]
    places : sequence of ndarray of int, optional
        Rows of the file in which the groups' rows stood; None where each group stands by itself.
    same : sequence of callable
        Whether two rows of a group hold the same values.

    Returns
    -------
    sessions : list of Session
        In the order of the log, each with strictly rising times; empty where no clock runs.
    done : list of Done
        What concerns the log as a whole.
    """
    done: list[Done] = []
    clocks = [_past_midnight(one, done) for one in clocks]
    blocks = _blocks(clocks, places, same)
    if len(blocks) > 1:
        done.append(Done("clock restarts taken as further sessions", None, len(blocks) - 1))
    sessions: list[Session] = []
    short = 0
    for block in blocks:
        whole = Session([], [])
        for rows, clock, alike in zip(block, clocks, same, strict=True):
            _append_in_order(whole, rows, clock, alike)
        whole.done = summed(whole.done)
        for one in _cut_at_pauses(whole):
            if _length(one) >= SHORTEST_S and max(map(len, one.rows)) >= FEWEST:
                sessions.append(one)
            else:
                short += max(map(len, one.rows))
    if short:
        done.append(Done("rows in pieces too short for a session left out", None, short))
    return sessions, done


def summed(done: Sequence[Done]) -> list[Done]:
    """The same thing done to several groups is told once."""
    counts: Counter[tuple[str, str | None]] = Counter()
    for one in done:
        counts[one.what, one.channel] += one.count
    return [Done(what, channel, count) for (what, channel), count in counts.items()]


def _length(session: Session) -> float:
    spans = [float(times[-1] - times[0]) for times in session.times if len(times)]
    return max(spans, default=0.0)


# ---------------------------------------------------------------- sessions


def _past_midnight(clock: Floats, done: list[Done]) -> Floats:
    """A time of day goes on past midnight."""
    if len(clock) < 2 or not np.nanmax(np.abs(clock), initial=0.0) < DAY_S * 1.01:
        return clock
    steps = np.diff(clock)
    turns = np.flatnonzero((steps < -0.95 * DAY_S) & np.isfinite(steps))
    if not 0 < len(turns) <= 3:
        return clock
    done.append(Done("midnights passed", None, len(turns)))
    days = np.zeros(len(clock))
    days[turns + 1] = DAY_S
    return clock + np.cumsum(days)


def _blocks(
    clocks: Sequence[Floats], places: Sequence[Rows] | None, same: Sequence[Same]
) -> list[list[Rows]]:
    """Runs of rows between restarts of the clock; one where it never restarts."""
    every = [np.flatnonzero(np.isfinite(clock)) for clock in clocks]
    if len(clocks) == 1:
        places = [np.arange(len(clocks[0]))]
    if places is None:
        return [every]
    if len(clocks) > 1 and _one_after_the_other(places):
        return _blocks_apart(clocks, every, same)
    place = np.concatenate([p[rows] for p, rows in zip(places, every, strict=True)])
    time = np.concatenate([clock[rows] for clock, rows in zip(clocks, every, strict=True)])
    if len(clocks) > 1:
        order = np.argsort(place, kind="stable")
        place, time = place[order], time[order]
    cuts = _restarts(time, place, same[0] if len(clocks) == 1 else None)
    if not cuts:
        return [every]
    bounds = [int(place[i]) for i in cuts]
    parts = [
        np.split(rows, np.searchsorted(p[rows], bounds))
        for p, rows in zip(places, every, strict=True)
    ]
    return [list(one) for one in zip(*parts, strict=True)]


def _one_after_the_other(places: Sequence[Rows]) -> bool:
    """Whether a table has all rows of one channel, then all of the next."""
    ends = sorted((int(one[0]), int(one[-1])) for one in places if len(one))
    return all(last < first for (_, last), (first, _) in pairwise(ends))


def _blocks_apart(
    clocks: Sequence[Floats], every: Sequence[Rows], same: Sequence[Same]
) -> list[list[Rows]]:
    """Runs of each group for itself; one where the groups restart differently often."""
    cuts = [
        _restarts(clock[rows], rows, alike)
        for clock, rows, alike in zip(clocks, every, same, strict=True)
    ]
    if len({len(one) for one in cuts}) != 1 or not cuts[0]:
        return [list(every)]
    parts = [np.split(rows, at) for rows, at in zip(every, cuts, strict=True)]
    return [list(one) for one in zip(*parts, strict=True)]


def _restarts(time: Floats, place: Rows, same: Same | None) -> list[int]:
    """Places where a clock begins anew, and the new run has seconds in common with the old one."""
    back = np.flatnonzero(np.diff(time) < -RESTART_S) + 1
    if not 0 < len(back) <= MAX_RESTARTS:
        return []
    cuts: list[int] = []
    start = 0
    ends = [*back[1:].tolist(), len(time)]
    for cut, end in zip(back.tolist(), ends, strict=True):
        old, new = slice(start, cut), slice(cut, end)
        before, after = np.unique(np.floor(time[old])), np.unique(np.floor(time[new]))
        shared, fewer = len(np.intersect1d(before, after)), min(len(before), len(after))
        if end - cut < FEWEST or fewer < 2 or shared <= TWICE_FRAC * fewer:
            continue
        if same is None or not _written_twice(time, place, old, new, same):
            cuts.append(cut)
            start = cut
    return cuts


def _written_twice(time: Floats, place: Rows, old: slice, new: slice, same: Same) -> bool:
    """Whether the later run repeats rows of the earlier one, judged by a hundred of them."""
    order = np.argsort(time[old], kind="stable")
    before = time[old][order]
    looked = np.arange(new.start, new.stop, max((new.stop - new.start) // 100, 1))
    at = np.clip(np.searchsorted(before, time[looked]), 0, len(before) - 1)
    alike = same(place[old][order][at], place[looked]) & (before[at] == time[looked])
    return bool(alike.mean() > 0.9)


def _cut_at_pauses(session: Session) -> list[Session]:
    times = [one for one in session.times if len(one)]
    if not times:
        return []
    every = times[0] if len(times) == 1 else np.sort(np.concatenate(times))
    cuts = every[1:][np.diff(every) > PAUSE_S]
    if len(cuts) == 0:
        return [session]
    pairs = list(zip(session.rows, session.times, strict=True))
    rows = [np.split(r, np.searchsorted(t, cuts)) for r, t in pairs]
    clocks = [np.split(t, np.searchsorted(t, cuts)) for t in session.times]
    parts = [Session([r[i] for r in rows], [t[i] for t in clocks]) for i in range(len(cuts) + 1)]
    parts[0].done = session.done
    return parts


# ---------------------------------------------------------------- one group


def _append_in_order(session: Session, rows: Rows, clock: Floats, same: Same) -> None:
    """Add one group's rows: in order, without repeats, with strictly rising times."""
    time = clock if len(rows) == len(clock) else clock[rows]
    missing = len(clock) - int(np.isfinite(clock).sum())
    if missing and missing + len(rows) == len(clock):
        session.done.append(Done("rows without a time left out", None, missing))
    rows, time = _without_a_false_start(session, rows, time)
    time = _set_back(session, rows, time, same)
    steps = np.diff(time)
    if not (steps > 0.0).all():
        if (steps < 0.0).any():
            late = int((time < np.maximum.accumulate(time)).sum())
            order = np.argsort(time, kind="stable")
            rows, time = rows[order], time[order]
            session.done.append(Done("rows put in order of time", None, late))
        rows, time = _without_repeats(session, rows, time, same)
    rows, time = _respaced(session, rows, time)
    _count_drop_outs(session, time)
    session.rows.append(rows)
    session.times.append(time)


def _without_a_false_start(session: Session, rows: Rows, time: Floats) -> tuple[Rows, Floats]:
    """A first row that is none, such as the rates of the channels below their units."""
    if len(time) < FEWEST or not time[0] > time[1] or (np.diff(time[1:]) < 0.0).any():
        return rows, time
    session.done.append(Done("a first row out of time left out", None, 1))
    return rows[1:], time[1:]


def _set_back(session: Session, rows: Rows, time: Floats, same: Same) -> Floats:
    """A clock that is set back while the log goes on: from there on it is late by that much.

    Rows out of order are late one by one, and then the clock is where it was; rows written twice
    hold what the first ones held.
    """
    backs = np.flatnonzero(np.diff(time) < 0.0) + 1
    if not 0 < len(backs) <= MAX_RESTARTS:
        return time
    rises = np.diff(time)
    usual = float(np.median(rises[rises > 0.0])) if (rises > 0.0).any() else 0.0
    out = time.copy()
    ends = [*backs[1:].tolist(), len(time)]
    for back, end in zip(backs.tolist(), ends, strict=True):
        again = back + int(np.searchsorted(time[back:end], time[back - 1], side="right"))
        forward = float(np.diff(time[back : again + 1]).max(initial=0.0))
        if again - back < FEWEST or forward > max(GAP_STEPS * usual, GAP_LEAST_S):
            continue
        old = np.searchsorted(time[:back], time[back:again])
        if same(rows[np.minimum(old, back - 1)], rows[back:again]).mean() > WRITTEN_TWICE_FRAC:
            continue
        out[back:] += out[back - 1] + usual - out[back]
        session.done.append(Done("clock set back: taken to go on", None, 1))
    return out


WRITTEN_TWICE_FRAC: Final = 0.5
"""Of rows that repeat the seconds of others, from this part on they are the same (assumption)."""


def _without_repeats(session: Session, rows: Rows, time: Floats, same: Same) -> tuple[Rows, Floats]:
    tied = np.flatnonzero(np.diff(time) == 0.0)
    if len(tied) == 0:
        return rows, time
    twice = tied[same(rows[tied], rows[tied + 1])]
    if len(twice) == 0:
        return rows, time
    keep = np.ones(len(rows), dtype=bool)
    keep[twice + 1] = False
    session.done.append(Done("rows written twice left out", None, len(twice)))
    return rows[keep], time[keep]


def _respaced(session: Session, rows: Rows, time: Floats) -> tuple[Rows, Floats]:
    """Spread samples that came in bursts evenly; of others at one time keep the last."""
    steps = np.diff(time)
    if len(steps) == 0:
        return rows, time
    if _in_bursts(steps):
        spread = _spread(time, steps)
        if (np.diff(spread) > TICK_S).all():
            session.done.append(Done("times of receipt in bursts spread evenly", None, len(time)))
            return rows, spread
    keep = np.append(steps > TICK_S, True)
    if keep.all():
        return rows, time
    session.done.append(Done("samples at the time of another left out", None, int((~keep).sum())))
    return rows[keep], time[keep]


def _in_bursts(steps: Floats) -> bool:
    """Whether samples come in packets of about the same size."""
    mean = _mean_step(steps)
    if mean <= 0.0 or float(np.median(steps)) > BURST_STEP_FRAC * mean:
        return False
    sizes = np.diff(np.flatnonzero(np.concatenate(([True], steps > mean, [True]))))
    usual = float(np.median(sizes))
    return usual >= 2.0 and bool((np.abs(sizes - usual) <= max(1.0, 0.25 * usual)).mean() > 0.8)


def _mean_step(steps: Floats) -> float:
    short = steps[steps < PAUSE_S]
    return float(np.mean(short)) if len(short) else 0.0


def _spread(time: Floats, steps: Floats) -> Floats:
    """Equal steps between drop-outs; each packet is taken to end at its time of receipt."""
    mean = _mean_step(steps)
    starts = np.flatnonzero(np.concatenate(([True], steps > mean)))
    ends = np.append(starts[1:], len(time))
    packet = float(np.median(np.diff(time[starts]))) if len(starts) > 1 else 0.0
    step = packet / float(np.median(ends - starts))
    if step <= 0.0:
        return time
    out = np.empty(len(time))
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        out[start:end] = time[start] - step * np.arange(end - start - 1, -1, -1)
    # A packet that came early overlaps the one before it: then the steps between them shrink.
    spread: Floats = np.maximum.accumulate(out) + 1e-6 * step * np.arange(len(out))
    return spread


def _count_drop_outs(session: Session, time: Floats) -> None:
    steps = np.diff(time)
    if len(steps) == 0:
        return
    longest = max(GAP_STEPS * float(np.median(steps)), GAP_LEAST_S)
    gaps = int(((steps > longest) & (steps <= PAUSE_S)).sum())
    if gaps:
        session.done.append(Done("drop-outs left open", None, gaps))
