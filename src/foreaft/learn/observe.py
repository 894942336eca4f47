"""Pieces of a log in which the car runs straight and nothing changes: what may be learnt from.

Every piece is a fraction of a second whose channels are averaged.
Pieces of one braking do not count as several: what goes wrong with one goes wrong with all.
Left out are pieces in a bend, pieces in which the pedal moves, wheels near their peak (where
anti-lock or the grip itself levels the force), and whatever has a drop-out in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from foreaft.laps.brakings import Braking, brakings, pressed
from foreaft.laps.clocks import decel_of, delay_s, felt
from foreaft.laps.series import Flags, Floats, Series, bridged, smoothed
from foreaft.laps.slip import WheelSlip, wheel_slip

PIECE_S: Final = 0.4
FREE_S: Final = 0.6
BUILD_UP_S: Final = 0.45
"""From the first touch of the pedal until line, torque, load and slip have settled."""

AFTER_S: Final = 0.5
"""After the release the wheels take so long to run free again."""

STRAIGHT_MPS2: Final = 1.5
SLOWEST_MPS: Final = 12.0
FIRM_MPS2: Final = 2.5
"""Gentler braking says little about the brakes: drag and engine are as large."""

STEADY_FRAC: Final = 0.15
"""So much may the pedal move within a piece and just before it, as a part of what it is."""

PEAK_SLIP: Final = 0.09
"""A wheel that slips more may be past its peak: no piece of it is used (assumption).

Near the peak a piece says little of the slip, which the fit knows, but still what a pressure does.
"""

BEFORE_PEAK_S: Final = 0.15
"""So long before a wheel passes its peak a piece ends."""

SURELY_PAST: Final = 0.14
"""In the mean of an axle: no tyre has its peak there (classes: up to 0.12)."""

BEFORE_S: Final = 0.35
"""So long before that its axle made all it could."""

FREE_MPS2: Final = 4.5
MOST_FREE: Final = 160
MOST_BRAKINGS: Final = 400
"""So many are used at most, evenly over the log."""

OFFSET_LEAST: Final = 50
"""Samples with the foot off from which the zero of a pressure sensor is taken."""


@dataclass(frozen=True, eq=False)
class Pieces:
    """Averages over pieces, shape (n,) each; NaN where the channel is not there.

    Parameters
    ----------
    log, braking : ndarray of int
        Log a piece comes from, and its braking counted over all logs; -1 where the brake is off.
    setting : ndarray
        What the adjuster showed.
    speed_mps, decel_mps2, change_mps3 : ndarray
        The last is how fast the deceleration grows: it falls with the downforce.
    front_Pa, rear_Pa, pedal : ndarray
        Line pressures with the zero of their sensors taken off, at the time at which they act;
        pedal is force or travel where there are no pressures.
    wheel_front, wheel_rear : ndarray
        Logarithm of the mean wheel speed of an axle. [ln(rad/s)]
    slip_front, slip_rear : ndarray
        Slip against free rolling, by the log alone. [-]
    """

    log: NDArray[np.int64]
    braking: NDArray[np.int64]
    time_s: Floats
    setting: Floats
    speed_mps: Floats
    decel_mps2: Floats
    change_mps3: Floats
    front_Pa: Floats
    rear_Pa: Floats
    pedal: Floats
    wheel_front: Floats
    wheel_rear: Floats
    slip_front: Floats
    slip_rear: Floats

    def __len__(self) -> int:
        return len(self.speed_mps)

    @property
    def braked(self) -> Flags:
        """Whether a piece is of a braking."""
        return np.asarray(self.braking >= 0)

    def of(self, part: NDArray[np.bool_] | NDArray[np.int64]) -> Pieces:
        """Some of the pieces."""
        return Pieces(**{name: value[part] for name, value in vars(self).items()})

    def count(self, used: Flags) -> Floats:
        """How many used pieces share each one's braking; 1 where the brake is off."""
        out = np.ones(len(self))
        for one in np.unique(self.braking[used & self.braked]):
            mine = used & (self.braking == one)
            out[mine] = float(mine.sum())
        return out


@dataclass(frozen=True, eq=False)
class Limit:
    """The hardest moment of a braking in which an axle let go."""

    log: int
    axle: int
    setting: float
    speed_mps: float
    decel_mps2: float


@dataclass(frozen=True, eq=False)
class Observed:
    """What one or several logs show.

    `radius_m` are the radii of the four wheels, as logged, rolling freely (NaN unknown), and
    `radius_error_m` how far they are certain; `noise` the scatter of the slip of a free wheel;
    `delay_s` is how far the brake's channel leads the deceleration (negative where it comes after
    it), None where they do not agree.
    """

    pieces: Pieces
    radius_m: Floats
    radius_error_m: Floats
    noise: float
    delay_s: float | None
    brake: tuple[str, ...]
    limits: tuple[Limit, ...]
    brakings: int
    firm: int
    """Brakings of which at least one piece is used."""
    plateaus: int
    """Brakings in which a wheel went past its peak, which are left out from there on."""

    @property
    def settings(self) -> list[float]:
        """Settings with a piece of braking."""
        used = self.pieces.setting[self.pieces.braked]
        return [float(one) for one in np.unique(used[np.isfinite(used)])]


def observe(series: Series, setting: float | None = None, log: int = 0) -> Observed:
    """Find the pieces of one session.

    Parameters
    ----------
    series : Series
    setting : float, optional
        What the adjuster showed all the time, where no channel says it.
    log : int
        Number of the log, for the pieces.
    """
    slips = wheel_slip(series)
    delay = _delay(series)
    channels = _channels(series, slips, delay, setting)
    found = brakings(series)
    if len(found) > MOST_BRAKINGS:
        kept = np.linspace(0, len(found) - 1, MOST_BRAKINGS).astype(int)
        found = tuple(found[i] for i in kept)
    rows: list[tuple[int, int, int]] = []
    limits: list[Limit] = []
    plateaus = 0
    for number, one in enumerate(found):
        braking, past = _braked(series, channels, one)
        rows += [(number, a, b) for a, b in braking]
        plateaus += past is not None
        if past is not None:
            limits += _limit(series, channels, one, log)
    firm = len({number for number, _, _ in rows})
    rows += [(-1, a, b) for a, b in _free(series, channels)]
    radius, error, noise = _radii(series, slips)
    return Observed(
        pieces=_table(channels, rows, log),
        radius_m=radius,
        radius_error_m=error,
        noise=noise,
        delay_s=delay,
        brake=series.sources.get("brake", ()),
        limits=tuple(limits),
        brakings=len(found),
        firm=firm,
        plateaus=plateaus,
    )


def together(parts: Sequence[Observed]) -> Observed:
    """Several sessions of one car as one; radii are those of the first that has them."""
    first = next((one for one in parts if np.isfinite(one.radius_m).any()), parts[0])
    offset, columns = 0, []
    for one in parts:
        braking = np.where(one.pieces.braked, one.pieces.braking + offset, -1)
        columns.append(replace(one.pieces, braking=braking))
        offset += one.brakings
    joined = {
        name: np.concatenate([getattr(one, name) for one in columns]) for name in vars(columns[0])
    }
    delays = [one.delay_s for one in parts if one.delay_s is not None]
    return replace(
        first,
        pieces=Pieces(**joined),
        delay_s=float(np.median(delays)) if delays else None,
        limits=tuple(limit for one in parts for limit in one.limits),
        brakings=sum(one.brakings for one in parts),
        firm=sum(one.firm for one in parts),
        plateaus=sum(one.plateaus for one in parts),
    )


# ---------------------------------------------------------------- channels


@dataclass(frozen=True, eq=False)
class _Channels:
    time_s: Floats
    speed: Floats
    decel: Floats
    change: Floats
    front: Floats
    rear: Floats
    pedal: Floats
    wheel_front: Floats
    wheel_rear: Floats
    slip_front: Floats
    slip_rear: Floats
    slip_most: Floats
    setting: Floats
    straight: Flags
    steady: Flags
    """Whether the brake has hardly moved in the last moments."""


def _delay(series: Series) -> float | None:
    """How much the brake's channel leads the deceleration. [s]"""
    if series.brake_frac is None:
        return None
    slow = (
        -felt(series.along_mps2, series.rate_hz)
        if "accel_x_mps2" in series.sources.get("along", ())
        else -decel_of(series.speed_mps, series.rate_hz)
    )
    level = felt(bridged(series.brake_frac), series.rate_hz)
    near = maximum_filter1d(pressed(series).astype(float), series.window(2.0)) > 0.0
    used = near & (series.speed_mps > SLOWEST_MPS)
    return delay_s(slow, level, series.rate_hz, used)


def _channels(
    series: Series, slips: WheelSlip | None, delay: float | None, setting: float | None
) -> _Channels:
    nothing = np.full(len(series.time_s), np.nan)
    off = ~pressed(series) & (series.speed_mps > SLOWEST_MPS)
    shown = nothing if series.setting is None else series.setting
    if setting is not None and series.setting is None:
        shown = np.full(len(nothing), setting)
    front = _zeroed(series.pressure_front_Pa, off, nothing)
    rear = _zeroed(series.pressure_rear_Pa, off, nothing)
    pedal = nothing
    if series.brake_frac is not None and "pressure_front_Pa" not in series.sources["brake"]:
        pedal = series.brake_frac
    front, rear, pedal = (_acting(one, series, delay) for one in (front, rear, pedal))
    wheels = np.full((len(nothing), 4), np.nan) if slips is None else slips.slip
    turning = None
    if series.wheel_radps is not None and slips is not None:
        turning = np.log(np.maximum(series.wheel_radps, 1e-6))
    pair = (
        (nothing, nothing)
        if turning is None
        else (turning[:, :2].mean(axis=1), turning[:, 2:].mean(axis=1))
    )
    lateral = np.zeros_like(nothing) if series.lateral_mps2 is None else series.lateral_mps2
    return _Channels(
        time_s=series.time_s,
        speed=series.speed_mps,
        decel=-series.along_mps2,
        change=np.gradient(-smoothed(series.along_mps2, series.window(0.2))) * series.rate_hz,
        front=front,
        rear=rear,
        pedal=pedal,
        wheel_front=pair[0],
        wheel_rear=pair[1],
        slip_front=wheels[:, :2].mean(axis=1),
        slip_rear=wheels[:, 2:].mean(axis=1),
        slip_most=np.where(np.isfinite(wheels), wheels, -np.inf).max(axis=1),
        setting=shown,
        straight=np.abs(smoothed(lateral, series.window(0.3))) < STRAIGHT_MPS2,
        steady=_steady(series, (front, rear, pedal)),
    )


def _zeroed(value: Floats | None, off: Flags, nothing: Floats) -> Floats:
    """A pressure with what its sensor shows when the foot is off taken away."""
    if value is None:
        return nothing
    calm = value[off & np.isfinite(value)]
    if len(calm) < OFFSET_LEAST:
        return value
    return np.asarray(value - float(np.median(calm)))


def _acting(value: Floats, series: Series, delay: float | None) -> Floats:
    """A channel of the brake moved to when it acts.

    A brake acts after its channel: one that comes later than the deceleration is left where it is,
    as lift-off and drag come first too.
    """
    if delay is None or delay < 0.0 or not np.isfinite(value).any():
        return value
    steps = delay * series.rate_hz
    at = np.arange(len(value)) - steps
    moved = np.interp(at, np.arange(len(value)), np.where(np.isfinite(value), value, 0.0))
    moved[~np.isfinite(value)] = np.nan
    return np.asarray(moved, dtype=np.float64)


def _radii(series: Series, slips: WheelSlip | None) -> tuple[Floats, Floats, float]:
    if slips is None:
        return np.full(4, np.nan), np.full(4, np.nan), float("nan")
    # Samples of a free wheel hang together: about one a second stands for itself.
    seconds = max(float(len(series.time_s)) / series.rate_hz / 10.0, 1.0)
    error = slips.radius_m * slips.noise / np.sqrt(seconds)
    return slips.radius_m, error, float(np.nanmedian(slips.noise))


# ---------------------------------------------------------------- pieces


def _braked(
    series: Series, channels: _Channels, one: Braking
) -> tuple[list[tuple[int, int]], int | None]:
    """Pieces of one braking, and the first sample at which a wheel was past its peak."""
    begin, last = int(one.start), int(one.release)
    past = begin + np.flatnonzero(channels.slip_most[begin:last] > PEAK_SLIP)
    size = max(round(PIECE_S * series.rate_hz), 2)
    found = []
    for first, end in _below_peak(begin, last, past, series.rate_hz):
        for a in range(first, end - size + 1, size):
            part = slice(a, a + size)
            fine = channels.straight[part].all() and channels.steady[part].all()
            fine = fine and channels.speed[part].min() > SLOWEST_MPS
            if fine and channels.decel[part].mean() > FIRM_MPS2:
                found.append((a, a + size))
    return found, int(past[0]) if len(past) else None


def _below_peak(
    begin: int, last: int, past: NDArray[np.int64], rate_hz: float
) -> list[tuple[int, int]]:
    """First sample and end of the stretches of a braking in which no wheel is past its peak.

    After a wheel has come back everything settles anew; anti-lock and a locked wheel leave none.
    """
    settle, margin = round(BUILD_UP_S * rate_hz), round(BEFORE_PEAK_S * rate_hz)
    starts = [begin, *(past + 1)]
    ends = [*(past - margin), last]
    return [(int(a) + settle, int(b)) for a, b in zip(starts, ends, strict=True) if b - a > settle]


def _steady(series: Series, brake: Sequence[Floats]) -> Flags:
    """Whether the brake has hardly moved in the last moments, by the first channel there is."""
    known = (one for one in brake if np.isfinite(one).any())
    level = next(known, -smoothed(series.along_mps2, series.window(0.2)))
    level = smoothed(level, series.window(0.05))
    size = series.window(0.3)
    high, low = maximum_filter1d(level, size), minimum_filter1d(level, size)
    return np.asarray(high - low < STEADY_FRAC * np.maximum(high, 1e-12))


def _free(series: Series, channels: _Channels) -> list[tuple[int, int]]:
    """Pieces with the brake off, evenly over the log."""
    size = max(round(FREE_S * series.rate_hz), 2)
    if not np.isfinite(channels.slip_front + channels.slip_rear).any():
        return []
    on = pressed(series).astype(float)
    after = round(AFTER_S * series.rate_hz)
    reach = maximum_filter1d(on, 2 * after + 1) > 0.0
    change = np.abs(np.gradient(smoothed(channels.decel, series.window(0.2)))) * series.rate_hz
    good = ~reach & channels.straight & (channels.speed > SLOWEST_MPS)
    good &= (np.abs(smoothed(channels.decel, series.window(0.3))) < FREE_MPS2) & (change < 6.0)
    good &= np.isfinite(channels.slip_front + channels.slip_rear)
    found = []
    at, end = 0, len(good)
    while at + size <= end:
        part = good[at : at + size]
        if part.all():
            found.append((at, at + size))
            at += size
        else:
            at += int(np.flatnonzero(~part)[-1]) + 1
    if len(found) > MOST_FREE:
        kept = np.linspace(0, len(found) - 1, MOST_FREE).astype(int)
        found = [found[i] for i in kept]
    return found


def _limit(series: Series, channels: _Channels, one: Braking, log: int) -> list[Limit]:
    """The hardest straight moment before an axle lets go, where one does."""
    first, last = int(one.start), int(one.release)
    slips = np.column_stack((channels.slip_front, channels.slip_rear))[first:last]
    if last - first < series.window(0.2) or not np.isfinite(slips).all():
        return []
    gone = np.flatnonzero(slips.max(axis=1) > SURELY_PAST)
    if len(gone) == 0:
        return []
    at = int(gone[0])
    begin = max(at - round(BEFORE_S * series.rate_hz), 0)
    if not channels.straight[first : first + at + 1].all():
        return []
    decel = smoothed(channels.decel[first:last], series.window(0.08))[begin : at + 1]
    if len(decel) < 3 or channels.speed[first + at] < SLOWEST_MPS:
        return []
    hardest = first + begin + int(np.argmax(decel))
    return [
        Limit(
            log=log,
            axle=int(np.argmax(slips[at])),
            setting=float(channels.setting[hardest]),
            speed_mps=float(channels.speed[hardest]),
            decel_mps2=float(decel.max()),
        )
    ]


def _table(channels: _Channels, rows: Sequence[tuple[int, int, int]], log: int) -> Pieces:
    def mean(value: Floats) -> Floats:
        return np.array([value[a:b].mean() for _, a, b in rows])

    return Pieces(
        log=np.full(len(rows), log, dtype=np.int64),
        braking=np.array([number for number, _, _ in rows], dtype=np.int64),
        time_s=mean(channels.time_s),
        setting=np.array([channels.setting[a] for _, a, _ in rows]),
        # As those of the wheels: a mean of speeds lies above it by 1e-3 in a hard slow piece.
        speed_mps=np.exp(mean(np.log(np.maximum(channels.speed, 1e-6)))),
        decel_mps2=mean(channels.decel),
        change_mps3=mean(channels.change),
        front_Pa=mean(channels.front),
        rear_Pa=mean(channels.rear),
        pedal=mean(channels.pedal),
        wheel_front=mean(channels.wheel_front),
        wheel_rear=mean(channels.wheel_rear),
        slip_front=mean(channels.slip_front),
        slip_rear=mean(channels.slip_rear),
    )
