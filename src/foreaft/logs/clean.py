"""From judged columns to the channels of one session: SI, no impossible samples, no offsets.

What is changed is changed in a copy, and told; the log itself is never touched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from foreaft.logs import evidence
from foreaft.logs.channels import CHANNELS
from foreaft.logs.clock import Session
from foreaft.logs.evidence import Seen
from foreaft.logs.meaning import Judged, choice_text, used
from foreaft.logs.names import KINDS, PRESSURES, WHEEL_SPEEDS
from foreaft.logs.raw import numbers
from foreaft.logs.recording import Channel, Done, Floats
from foreaft.logs.units import parse_unit

NOMINAL_RADIUS_M: Final = 0.3
"""Turns a wheel's road speed into rad/s where the log gives no radius (assumption).

Whoever uses a wheel's speed finds its radius from free rolling anyway.
"""

MAY_STAND: Final = frozenset(
    {"speed_mps", "throttle_frac", "brake_pedal_frac", "pedal_force_N", "gear", "lap_count"}
    | {"setting", "engine_speed_radps", *PRESSURES, *WHEEL_SPEEDS}
)
"""What may show one value all the time; a sensor that does is dead."""

SAME_FRAC: Final = 0.02
"""Two columns show the same where they differ by less than this of their size (assumption)."""

ROAD_SPEED: Final = "road speed turned into rad/s"


def raw_channel(one: Judged, session: Session) -> Channel:
    """One column in one session, on its clock, samples as recorded."""
    time, values = session.times[one.group], session.of(one.group, one.column.value)
    good = numbers(values)
    if not good.all():
        values, time = values[good], time[good]
    return Channel(
        None,
        one.column.name,
        one.written_unit,
        time,
        values,
        one.state,
        one.note,
        tuple(choice_text(choice) for choice in one.choices),
    )


def in_si(one: Judged, raw: Channel, done: list[Done]) -> Channel:
    """One used column in the unit of the catalogue, without samples that cannot be."""
    name = one.name or ""
    info = CHANNELS[name]
    value = raw.value * one.factor if one.factor != 1.0 else raw.value
    if one.unit is not None and one.unit.kind == "speed" and KINDS[name][0] == "angular_rate":
        value = value / NOMINAL_RADIUS_M
        what = f"{ROAD_SPEED} with a radius of {NOMINAL_RADIUS_M:g} m"
        done.append(Done(what, raw.original_name, len(value)))
    time = raw.time_s
    wild = (value < info.low) | (value > info.high)
    if wild.any():
        done.append(Done("impossible samples left out", raw.original_name, int(wild.sum())))
        value, time = value[~wild], time[~wild]
    if name == "heading_rad":
        value = _unwound(value, raw.original_name, done)
    if name == "distance_m":
        joined = _unbroken(value, raw.original_name, done)
        raw = replace(raw, anew_s=_anew(time, value, joined))
        value = joined
    return replace(raw, name=name, time_s=time, value=value, note=one.note)


def _unwound(value: Floats, column: str, done: list[Done]) -> Floats:
    """A heading goes on past a full turn."""
    whole: Floats = np.unwrap(value)
    turns = int((np.abs(np.diff(value)) > np.pi).sum())
    if turns:
        done.append(Done("full turns of the heading joined", column, turns))
    return whole


RESET_M: Final = 100.0
"""A distance that falls by more than this began anew (assumption)."""


def _unbroken(value: Floats, column: str, done: list[Done]) -> Floats:
    """A distance that starts from nothing at each lap goes on."""
    steps = np.diff(value)
    resets = np.flatnonzero(steps < -RESET_M)
    if len(resets) == 0:
        return value
    done.append(Done("distance joined where it began anew", column, len(resets)))
    added = np.zeros(len(value))
    # At a reset the step is taken to be as long as the one before it.
    added[resets + 1] = -steps[resets] + np.maximum(steps[np.maximum(resets - 1, 0)], 0.0)
    joined: Floats = value + np.cumsum(added)
    return joined


def _anew(time: Floats, value: Floats, joined: Floats) -> tuple[float, ...]:
    """When a distance was nothing again: before what it shows at its first sample of the lap."""
    at = 1 + np.flatnonzero(np.diff(value) < -RESET_M)
    step = time[at] - time[at - 1]
    part = np.clip(value[at] / np.maximum(joined[at] - joined[at - 1], 1e-9), 0.0, 1.0)
    anew = (time[at] - part * step).tolist()
    begins = len(anew) > 0 and value[0] < float(np.median(np.abs(np.diff(joined[:50]))))
    return (float(time[0]), *anew) if begins else tuple(anew)


# ---------------------------------------------------------------- one column per channel


def settle_twins(judged: list[Judged], session: Session) -> None:
    """Of columns that claim to be one channel keep the best, if they agree; else ask."""
    for name in KINDS:
        claims = used(judged, name) if name != "time_s" else []  # each group has its own
        told = [i for i in claims if judged[i].told]
        if told:
            for i in set(claims) - set(told):
                judged[i] = judged[i].as_ignored(f"{judged[told[0]].column.name} is {name}")
            continue
        if len(claims) < 2:
            continue
        raws = {i: raw_channel(judged[i], session) for i in claims}
        best = max(claims, key=lambda i: (_worth(raws[i]), -i))
        for i in claims:
            if i == best:
                continue
            if _agree(judged[i], raws[i], judged[best], raws[best]):
                judged[i] = judged[i].as_ignored(f"shows what {raws[best].original_name} shows")
            else:
                _ask(judged, claims, name)
                break


def _worth(raw: Channel) -> tuple[int, int]:
    step = max(len(raw.value) // 5000, 1)
    return int(raw.rate_hz), len(np.unique(raw.value[::step]))


def _agree(one: Judged, raw: Channel, other: Judged, reference: Channel) -> bool:
    step = max(len(reference.time_s) // 5000, 1)
    times = reference.time_s[::step]
    a, b = raw.at(times) * one.factor, reference.at(times) * other.factor
    good = np.isfinite(a) & np.isfinite(b)
    if good.sum() < 10:
        return False
    size = float(np.percentile(np.abs(b[good]), 95))
    return float(np.median(np.abs(a[good] - b[good]))) <= SAME_FRAC * max(size, 1e-9)


def _ask(judged: list[Judged], claims: Sequence[int], name: str) -> None:
    others = [judged[i].column.name for i in claims]
    for i in claims:
        one = judged[i]
        rest = ", ".join(other for other in others if other != one.column.name)
        choices = ((name, one.unit),) if one.unit is not None else ()
        note = f"is this {name}, or {rest}? They do not agree."
        judged[i] = replace(one, state="asked", name=None, note=note, choices=choices)


# ---------------------------------------------------------------- across channels


NORTH_LEAST_RAD: Final = 0.3
"""A smaller difference between heading and path may be the car's slip angle (assumption)."""


def straighten(
    channels: dict[str, Channel], seen: Seen, told: set[str], done: list[Done]
) -> list[str]:
    """Turn signs and take off offsets; give what stays open, in words.

    What a mapping says is not turned, only told.
    """
    open_: list[str] = []
    for name, how in evidence.turned(seen).items():
        one = channels[name]
        if name in told:
            open_.append(f"{one.original_name}: the mapping says otherwise, but {how}")
            continue
        channels[name] = replace(one, value=-one.value)
        seen.forget(name)
        done.append(Done(f"sign turned: {how}", one.original_name, len(one.value)))
    north = evidence.northing(seen)
    if abs(north) > NORTH_LEAST_RAD:
        one = channels["heading_rad"]
        channels["heading_rad"] = replace(one, value=one.value - north)
        seen.forget("heading_rad")
        what = f"counted from the x axis: turned by {-north:.3f} rad"
        done.append(Done(what, one.original_name, len(one.value)))
    for name, offset in evidence.offsets(seen).items():
        one = channels[name]
        channels[name] = replace(one, value=one.value - offset)
        seen.forget(name)
        what = f"offset of {_amount(offset, name)} taken off"
        done.append(Done(what, one.original_name, len(one.value)))
    if evidence.contradictory(seen):
        side, yaw = channels["accel_y_mps2"], channels["yaw_rate_radps"]
        open_.append(
            f"{side.original_name} and {yaw.original_name} turn opposite ways: one of them "
            "counts the other way than ISO 8855 (left positive)"
        )
    return open_


def tell_standing(channels: dict[str, Channel], done: list[Done]) -> list[Channel]:
    """Take out sensors that never move, and tell of what may stand; give those taken out."""
    dead = []
    for name, one in list(channels.items()):
        if len(one.value) and one.value[0] == one.value[-1] and np.ptp(one.value) == 0.0:
            if name in MAY_STAND:
                what = f"shows {_amount(float(one.value[0]), name, 6)} all the time"
                done.append(Done(what, one.original_name, len(one.value)))
            else:
                dead.append(replace(one, name=None, state="ignored", note="never changes"))
                del channels[name]
    return dead


def tell_delays(
    channels: dict[str, Channel], seen: Seen, commands: set[str], notes: list[str]
) -> None:
    """Tell of a command that leads its effect, and of wheels that do not roll alike."""
    brakes = [n for n in ("brake_pedal_frac", "pedal_force_N", *PRESSURES) if n in channels]
    for name in [n for n in brakes if n in commands] or brakes[:1]:
        delay = evidence.delay_s(channels, name)
        late = delay is not None and delay >= evidence.DELAY_LEAST_S
        if name in commands or late:
            lead = f"leads the deceleration by {delay:.2f} s" if delay else "may lead its effect"
            what = "is a command and " if name in commands else ""
            notes.append(f"{channels[name].original_name} {what}{lead}")
    for wheel in WHEEL_SPEEDS:
        radius = evidence.rolling(seen, wheel)
        if radius is not None:
            notes.append(_rolls(channels[wheel], radius))


def _amount(value: float, name: str, digits: int = 3) -> str:
    """A value of a channel as people read it: pressures in bar, plain numbers without a unit."""
    unit = CHANNELS[name].unit
    if unit == "Pa":
        return f"{value / 1e5:.{digits}g} bar"
    return f"{value:.{digits}g}" + ("" if unit in ("1", "frac") else f" {unit}")


RADII_M: Final = (0.15, 0.60)
"""Between these lie the wheels of cars, karts to trucks (assumption)."""


def _rolls(wheel: Channel, radius: float) -> str:
    unit = parse_unit(wheel.original_unit)
    if unit is not None and unit.kind == "speed":
        high = 100.0 * (NOMINAL_RADIUS_M / radius - 1.0)
        return f"{wheel.original_name} reads {high:+.1f} % against the speed while rolling freely"
    if not RADII_M[0] <= radius <= RADII_M[1]:
        return (
            f"{wheel.original_name} would have a radius of {radius:.3g} m, which no wheel of a car "
            "has: is its unit right?"
        )
    return f"{wheel.original_name} rolls freely with a radius of {radius:.4f} m"


DERIVED_HALF_S: Final = 0.25
"""A speed made of positions is taken over half a second (assumption)."""


def speed_from_position(channels: dict[str, Channel], done: list[Done]) -> None:
    """Make a speed of the position where the log has none."""
    if "speed_mps" in channels:
        return
    lonlat = ("longitude_deg", "latitude_deg")
    pair = ("position_x_m", "position_y_m") if "position_x_m" in channels else lonlat
    if not all(name in channels for name in pair):
        return
    one, other = (channels[name] for name in pair)
    step = min(max(one.step_s, 0.02), DERIVED_HALF_S)
    half = max(round(DERIVED_HALF_S / step), 1)
    times = np.arange(0.0, float(one.time_s[-1]), step) + float(one.time_s[0])
    places = (one.at(times), other.at(times))
    place = np.column_stack(evidence.plane_of(*places) if pair == lonlat else places)
    ahead = np.hypot(*(place[2 * half :] - place[: -2 * half]).T) / (2 * half * step)
    middle = times[half : len(times) - half]
    fine = np.isfinite(ahead) & (ahead <= CHANNELS["speed_mps"].high)
    if fine.sum() < FEWEST:
        return
    made = Channel("speed_mps", "", "", middle[fine], ahead[fine], "used", "made of the position")
    channels["speed_mps"] = made
    done.append(Done("speed made of the position", None, int(fine.sum())))


FEWEST: Final = 10
