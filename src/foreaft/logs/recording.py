"""One recorded session: channels in SI on their own clocks, and what was done to them.

Time runs from 0 at the first sample of the session and rises strictly in every channel.
Each channel keeps its own rate; `Recording.on` puts several on one time base, and leaves NaN where
nothing was recorded.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError

Floats = NDArray[np.float64]
State = Literal["used", "ignored", "asked"]

HELD: Final = frozenset({"gear", "lap_count", "setting"})
"""Channels that keep their last value until the next one, and are never interpolated."""

GAP_STEPS: Final = 5.0
"""A pause of more steps than this is a drop-out (assumption)."""

GAP_LEAST_S: Final = 0.25
"""A shorter pause is never one: a car at 60 m/s has gone 15 m (assumption)."""

RATE_LEAST_HZ: Final = 0.5
"""A held channel slower than this was written at its changes only: it holds across any pause."""


STEPS_LOOKED_AT: Final = 20_000
"""So many steps, spread evenly, give the usual one."""


@dataclass(frozen=True)
class Done:
    """One thing that was done to a channel, or to all of them (``channel`` None); how often."""

    what: str
    channel: str | None
    count: int


@dataclass(frozen=True, eq=False)
class Channel:
    """One channel of a session.

    Parameters
    ----------
    name : str or None
        Name in the catalogue of channels; None where it was not recognised.
    original_name, original_unit : str
        As the log has them; the unit is empty where the log has none.
    time_s : ndarray, shape (n,)
        From the start of the session, strictly rising. [s]
    value : ndarray, shape (n,)
        Finite; in the unit of the catalogue where the channel is used, else as recorded.
        Where the log has no number there is no sample.
    state : {"used", "ignored", "asked"}
        Asked: somebody has to say what it is before it can be used.
    note : str
        Why it is ignored or asked, or what it was made from.
    choices : tuple of str
        What an asked channel may be, as ``name:unit``.
    anew_s : tuple of float
        When a distance began anew in the log, before it was joined: the laps. [s]
    """

    name: str | None
    original_name: str
    original_unit: str
    time_s: Floats
    value: Floats
    state: State
    note: str = ""
    choices: tuple[str, ...] = ()
    anew_s: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.time_s.ndim != 1 or self.time_s.shape != self.value.shape:
            raise ValueError(f"{self.original_name}: {self.time_s.shape} and {self.value.shape}")
        self.time_s.setflags(write=False)
        self.value.setflags(write=False)

    @cached_property
    def step_s(self) -> float:
        """Usual time between two samples; NaN for fewer than two. [s]"""
        last = len(self.time_s) - 1
        if last < 1:
            return float("nan")
        at = np.linspace(0, last - 1, min(last, STEPS_LOOKED_AT)).astype(np.int64)
        return float(np.median(self.time_s[at + 1] - self.time_s[at]))

    @property
    def rate_hz(self) -> float:
        """Usual samples per second; 0 for fewer than two."""
        return 1.0 / self.step_s if self.step_s > 0.0 else 0.0

    @property
    def gap_s(self) -> float:
        """Longest pause that is bridged; a longer one is a drop-out. [s]"""
        if self.name in HELD and self.rate_hz < RATE_LEAST_HZ:
            return float("inf")
        return max(GAP_STEPS * self.step_s, GAP_LEAST_S) if self.step_s > 0.0 else GAP_LEAST_S

    def at(self, times_s: Floats) -> Floats:
        """Give the values at other times; NaN before, after and inside a drop-out.

        Parameters
        ----------
        times_s : ndarray, shape (m,)
            Any order. [s]
        """
        time, value = self.time_s, self.value
        if len(time) == 0:
            return np.full(len(times_s), np.nan)
        after = np.searchsorted(time, times_s, side="right")
        before = np.clip(after - 1, 0, len(time) - 1)
        after = np.clip(after, 0, len(time) - 1)
        pause = time[after] - time[before]
        if self.name in HELD:
            found = value[before].astype(np.float64)
            # After its last sample a held value is as good as between two samples.
            pause = np.maximum(pause, times_s - time[before])
            outside = times_s < time[0]
        else:
            part = (times_s - time[before]) / np.where(pause > 0.0, pause, 1.0)
            found = value[before] + part * (value[after] - value[before])
            outside = (times_s < time[0]) | (times_s > time[-1])
        found[outside | ((pause > self.gap_s) & (times_s != time[before]))] = np.nan
        return found


@dataclass(frozen=True, eq=False)
class Recording:
    """One session of a log.

    Parameters
    ----------
    run_id : str
        First 12 hexadecimal digits of ``sha256``; ``-2``, ``-3`` follow for further sessions.
    sha256 : str
        Of the bytes of the log.
    file : str
        Path of the log, as given.
    session, sessions : int
        This one, counted from 1, of so many in the log.
    start_s : float
        What the log's own clock shows at time 0. [s]
    channels : mapping
        The used channels by name of the catalogue.
    others : tuple of Channel
        Those ignored or asked, in the order of the log, and the clock.
    done : tuple of Done
        What was done to the channels; nothing was done to the log.
    notes : tuple of str
        What was seen and left as it is.
    """

    run_id: str
    sha256: str
    file: str
    session: int
    sessions: int
    start_s: float
    channels: Mapping[str, Channel]
    others: tuple[Channel, ...] = ()
    done: tuple[Done, ...] = ()
    notes: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> Channel:
        return self.channels[name]

    def __contains__(self, name: object) -> bool:
        return name in self.channels

    def __iter__(self) -> Iterator[str]:
        return iter(self.channels)

    def has(self, *names: str) -> bool:
        """Whether all of these channels are there to be used."""
        return all(name in self.channels for name in names)

    def need(self, *names: str) -> None:
        """Refuse to go on without these channels.

        Raises
        ------
        InputError
            Naming the missing ones, and those in the log that might be them.
        """
        for name in names:
            if name in self.channels:
                continue
            asked = [one for one in self.others if any(c.startswith(name) for c in one.choices)]
            hint = "Record this channel, or name it with --map COLUMN=CHANNEL:UNIT."
            if asked:
                choice = next(c for c in asked[0].choices if c.startswith(name))
                hint = (
                    f'If it is {asked[0].original_name}: --map "{asked[0].original_name}={choice}".'
                )
            raise InputError(
                f"The log has no channel that is certain to be {name}.",
                code="log_channel_missing",
                file=self.file,
                key=name,
                value=", ".join(one.original_name for one in asked) or "none",
                allowed="a log with this channel",
                unit="",
                hint=hint,
            )

    @property
    def samples(self) -> int:
        """Samples of the longest channel."""
        return max((len(one.time_s) for one in self.every()), default=0)

    @property
    def duration_s(self) -> float:
        """From the first sample of any channel to the last. [s]"""
        ends = [float(one.time_s[-1]) for one in self.every() if len(one.time_s)]
        return max(ends, default=0.0)

    def every(self) -> Iterator[Channel]:
        """All channels, the used ones first."""
        yield from self.channels.values()
        yield from self.others

    def on(self, times_s: Floats, *names: str) -> dict[str, Floats]:
        """Give channels (all used ones if none is named) at the same times.

        Short pauses are bridged: linearly, or by the last value where a channel shows steps.
        Drop-outs stay NaN.
        """
        return {name: self.channels[name].at(times_s) for name in names or self.channels}

    def common(self, rate_hz: float, *names: str) -> tuple[Floats, dict[str, Floats]]:
        """Give equally spaced times over the session, and channels at them as `on` does."""
        times = np.arange(int(self.duration_s * rate_hz) + 1) / rate_hz
        return times, self.on(times, *names)
