"""Sessions driven by a point on a line, for the tests alone: every place in them is known.

The circuit is a rounded rectangle with a hairpin's worth of radii; the speed profile is worked out
here from a friction circle, not by the product.
Nothing here is a reference for a number: it says where the truth is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from foreaft.logs.recording import Channel, Recording

GRAVITY = 9.81
RADII = (40.0, 25.0, 60.0, 30.0)
SIDES = (500.0, 260.0, 480.0)  # the last side closes the shape


@dataclass(frozen=True)
class Road:
    """A closed road at half-metre steps."""

    s: np.ndarray
    x: np.ndarray
    y: np.ndarray
    kappa: np.ndarray
    length: float


def road(step: float = 0.5) -> Road:
    """Four left corners of different radii, each with an entry and an exit of 15 m."""
    kappa_parts, entry = [], 15.0
    # A left quadrilateral closes only if the sides fit; x and y are closed by two free sides.
    sides = _closing_sides(entry)
    for side, radius in zip(sides, RADII, strict=True):
        ramp = round(entry / step)
        arc_length = 0.5 * np.pi * radius - entry
        rise = np.arange(ramp) / ramp / radius
        kappa_parts += [np.zeros(round(side / step)), rise]
        kappa_parts += [np.full(max(round(arc_length / step), 1), 1.0 / radius), rise[::-1]]
    kappa = np.concatenate(kappa_parts)
    kappa *= 2.0 * np.pi / (kappa.sum() * step)
    heading = np.concatenate(([0.0], np.cumsum(0.5 * (kappa[1:] + kappa[:-1]) * step)))
    middle = heading + 0.5 * kappa * step  # of each step, so that nothing is half a step late
    x = np.concatenate(([0.0], np.cumsum(np.cos(middle[:-1]) * step)))
    y = np.concatenate(([0.0], np.cumsum(np.sin(middle[:-1]) * step)))
    s = step * np.arange(len(kappa))
    # What rounding left open is spread over the lap: centimetres.
    length = step * len(kappa)
    end = (x[-1] + np.cos(middle[-1]) * step, y[-1] + np.sin(middle[-1]) * step)
    return Road(s, x - end[0] * s / length, y - end[1] * s / length, kappa, length)


def _closing_sides(entry: float) -> tuple[float, ...]:
    """The two long sides chosen, the two others such that the shape closes."""
    reach = []  # how far a corner reaches along its incoming and its outgoing side
    for radius in RADII:
        ds = 0.01
        ramp = np.arange(0.0, entry, ds) / entry / radius
        arc = np.full(round((0.5 * np.pi * radius - entry) / ds), 1.0 / radius)
        turn = np.cumsum(np.concatenate((ramp, arc, ramp[::-1]))) * ds
        turn *= 0.5 * np.pi / turn[-1]
        reach.append((np.cos(turn).sum() * ds, np.sin(turn).sum() * ds))
    along = [reach[i][0] + reach[i - 1][1] for i in range(4)]
    first, second = SIDES[0], SIDES[1]
    third = first + along[0] - along[2]
    fourth = second + along[1] - along[3]
    return first, second, third, fourth


@dataclass(frozen=True)
class Driven:
    """A session and the truth about it: per lap and corner, where braking began and ended."""

    recording: Recording
    road: Road
    lap_starts_s: np.ndarray
    brake_s_m: np.ndarray
    release_s_m: np.ndarray
    low_s_m: np.ndarray
    settings: dict


def speeds(line: Road, use: float, mu: float = 1.3, power: float = 250e3, mass: float = 1300.0):
    """Speed and acceleration on a flying lap that uses so much of the braking grip."""
    step = line.s[1] - line.s[0]
    corner = np.sqrt(0.9 * mu * GRAVITY / np.maximum(np.abs(line.kappa), 1e-5))
    limit = np.minimum(corner, 75.0)
    v = limit.copy()

    def grip(speed, k):
        return np.sqrt(max(0.0, (mu * GRAVITY) ** 2 - (speed**2 * k) ** 2))

    n = len(v)
    for i in range(2 * n):
        a, b = i % n, (i + 1) % n
        push = min(0.6 * grip(v[a], line.kappa[a]), power / (mass * v[a])) - 4e-4 * v[a] ** 2
        v[b] = min(v[b], np.sqrt(max(1.0, v[a] ** 2 + 2 * step * push)))
    for i in range(2 * n, 0, -1):
        a, b = i % n, (i - 1) % n
        v[b] = min(v[b], np.sqrt(v[a] ** 2 + 2 * step * use * grip(v[a], line.kappa[a])))
    return v


def session(
    laps: int = 6,
    rate: float = 100.0,
    uses=0.9,
    *,
    line: Road | None = None,
    channels: tuple[str, ...] | None = None,
    noise: float = 0.0,
    seed: int = 1,
    start_s_m: float = 0.0,
    extra_s_m: float = 0.0,
) -> Driven:
    """Whole laps from a place on the lap, and a bit more; ``uses`` per lap or one for all."""
    line = line or road()
    uses = np.broadcast_to(np.asarray(uses, float), (laps + 2,))
    step = line.s[1] - line.s[0]
    profiles = {use: speeds(line, use) for use in np.unique(uses)}
    total = start_s_m + laps * line.length + extra_s_m
    place = np.arange(start_s_m, total, step)
    lap_of = np.floor(place / line.length).astype(int)
    index = np.floor((place % line.length) / step + 1e-9).astype(int) % len(line.s)
    v = np.array([profiles[uses[lap]][i] for lap, i in zip(lap_of, index, strict=True)])
    t = np.concatenate(([0.0], np.cumsum(step / (0.5 * (v[1:] + v[:-1])))))
    accel = np.gradient(v, t)
    coast = -(0.5 + 4e-4 * v**2)
    press = np.maximum(coast - accel, 0.0)
    time = np.arange(0.0, t[-1], 1.0 / rate)
    s = np.interp(time, t, place)
    got = _channels(line, time, s, t, v, accel, press, noise, seed)
    names = channels or tuple(got)
    recording = recording_of({name: got[name] for name in names}, time)
    truth = [_truth(line, place, v, press, lap) for lap in range(lap_of.max() + 1)]
    starts = np.interp(np.arange(1, laps + 1) * line.length, place, t)
    brake, release, low = (np.array([one[k] for one in truth]) for k in range(3))
    return Driven(recording, line, starts, brake, release, low, {})


def _channels(line, time, s, t, v, accel, press, noise, seed):
    random = np.random.default_rng(seed)

    def on(values):
        return np.interp(time, t, values)

    speed, k = on(v), np.interp(s % line.length, line.s, line.kappa, period=line.length)
    return {
        "speed_mps": speed + 0.05 * noise * random.standard_normal(len(time)),
        "accel_x_mps2": on(accel) + 0.3 * noise * random.standard_normal(len(time)),
        "accel_y_mps2": speed**2 * k + 0.3 * noise * random.standard_normal(len(time)),
        "yaw_rate_radps": speed * k + 0.01 * noise * random.standard_normal(len(time)),
        "pressure_front_Pa": 4.0e5 * on(press) + 2e4 * noise * random.standard_normal(len(time)),
        "pressure_rear_Pa": 2.4e5 * on(press) + 2e4 * noise * random.standard_normal(len(time)),
        "position_x_m": np.interp(s % line.length, line.s, line.x, period=line.length)
        + 0.1 * noise * random.standard_normal(len(time)),
        "position_y_m": np.interp(s % line.length, line.s, line.y, period=line.length)
        + 0.1 * noise * random.standard_normal(len(time)),
        "lap_count": np.floor(s / line.length),
        "distance_m": s % line.length,
    }


def _truth(line, place, v, press, lap):
    """Where each corner of a lap is braked for, from the profile itself."""
    brake, release, low = [], [], []
    inside = np.flatnonzero((place >= lap * line.length) & (place < (lap + 1) * line.length))
    on = press[inside] > 0.5
    edge = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(int)))
    for a, b in zip(edge[::2], edge[1::2], strict=True):
        first, last = inside[a], inside[min(b, len(inside) - 1)]
        if v[first] - v[last] < 15.0 / 3.6:
            continue
        brake.append(place[first] % line.length)
        release.append(place[last] % line.length)
        end = min(last + 200, len(v))
        low.append(place[first + int(np.argmin(v[first:end]))] % line.length)
    pad = [np.nan] * (4 - len(brake))
    return brake + pad, release + pad, low + pad


def recording_of(values: dict[str, np.ndarray], time: np.ndarray) -> Recording:
    """A recording of these channels on one clock."""
    channels = {
        name: Channel(name, name, "", time.copy(), np.asarray(one, float), "used")
        for name, one in values.items()
    }
    if "distance_m" in channels:
        channels["distance_m"] = _joined(channels["distance_m"])
    return Recording("test", "0" * 64, "test.csv", 1, 1, 0.0, channels)


def _joined(distance: Channel) -> Channel:
    """A distance that begins anew at the line, as readers hand it over: joined, with its times."""
    lap = np.diff(distance.value, prepend=0.0) < -100.0
    steps = np.where(lap, np.nan, np.diff(distance.value, prepend=distance.value[0]))
    usual = np.interp(np.arange(len(steps)), np.flatnonzero(~lap), steps[~lap])
    past = distance.value[lap] / usual[lap] * distance.step_s
    anew = tuple((distance.time_s[lap] - past).tolist())
    return replace(distance, value=distance.value[0] + np.cumsum(usual), anew_s=anew)


def without(driven: Driven, *names: str) -> Recording:
    """The same recording without some channels."""
    kept = {n: c for n, c in driven.recording.channels.items() if n not in names}
    old = driven.recording
    return Recording(old.run_id, old.sha256, old.file, 1, 1, 0.0, kept, old.others, old.done)
