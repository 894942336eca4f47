"""One session looked at from end to end: laps, circuit, zones, passes, measures, events."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np

from foreaft.base.errors import CannotTell
from foreaft.base.units import GRAVITY_MPS2
from foreaft.laps.brakings import LAG_S, Braking, brakings, pressed
from foreaft.laps.ends import with_ends
from foreaft.laps.events import Event, Evidence, countersteer, events_of, outward_of
from foreaft.laps.grip import combined, use_by_model, use_shown
from foreaft.laps.match import Known, Pass, Placed, Zone, passes_of, place_along
from foreaft.laps.measure import Measured, against_best, brake_level, measured
from foreaft.laps.path import Closure, Frame, Path, circuit_from, lies_on, path_of, register
from foreaft.laps.series import LENT, Floats, Series, series_of
from foreaft.laps.slip import (
    FRONT_PEAKS,
    PEAK_SD,
    TRACK_M,
    WHEELBASE_M,
    AxleSlip,
    WheelSlip,
    axle_slip,
    front_over,
    peak_across,
    wheel_slip,
)
from foreaft.laps.split import Gate, Lap, Split, by_counter, by_distance, split
from foreaft.laps.wander import settled
from foreaft.logs.recording import Recording
from foreaft.physics import layout as at
from foreaft.physics.slip_tyre import peak_slips
from foreaft.track.stations import Stations


@dataclass(frozen=True, eq=False)
class CarSide:
    """What of a car a session is judged with.

    `share_of` gives the front share of the brakes at settings, NaN for an unknown setting.
    """

    vector: Floats
    table: Floats
    share_of: Callable[[Floats], Floats]
    share_usual: float
    anti_lock: bool = False
    peak_sd: float = 0.0
    """Of the logarithm of the slip angle at which a front tyre peaks."""


@dataclass(frozen=True, eq=False)
class Session:
    """A session and all that was made of it."""

    recording: Recording
    series: Series
    split: Split
    placed: Placed
    zones: tuple[Zone, ...]
    passes: tuple[Pass, ...]
    rows: tuple[Measured, ...]
    events: tuple[Event, ...]
    evidence: Evidence
    decel_mps2: Floats
    side_mps2: Floats
    shown_mps2: Floats
    use_front: Floats | None
    use_rear: Floats | None
    closure: Closure | None
    """Of the lap the circuit was made from; None where the circuit came from elsewhere."""
    drawn: bool
    moved: float | None
    """How far the log lies beside the circuit after it was laid onto it; None where it was not."""
    frame: Frame | None
    """How its path was laid onto the circuit; None where it lay there already."""
    anti_lock: bool
    keeps_line: bool

    @property
    def full(self) -> frozenset[str]:
        """Ids of the full laps."""
        return frozenset(lap.lap_id for lap in self.split.full)

    def light(self) -> Session:
        """The same with few of its samples, for a session beside the main one.

        A day of laps is a gigabyte of samples, of which rows and events go into the answer, and
        time, place, speed and brake into the laps that are drawn.
        """
        gone = np.zeros(0)
        samples: dict[str, Any] = {
            one.name: gone
            for one in fields(self.series)
            if one.name not in ("time_s", "origin_deg", "speed_mps")
            and isinstance(getattr(self.series, one.name), np.ndarray)
        }
        series = replace(self.series, **samples)
        evidence = replace(
            self.evidence,
            wheels=None,
            axles=AxleSlip(None, None),
            front_over=None,
            use_shown=gone,
            outward_m=None,
            counter=None,
        )
        return replace(
            self,
            series=series,
            placed=replace(self.placed, series=series, offset_m=None),
            evidence=evidence,
            decel_mps2=gone,
            side_mps2=gone,
            use_front=None,
            use_rear=None,
        )


LEAST_WAY_M: Final = 100.0
"""A car that goes no further has driven no lap of anything (assumption)."""


def nobody() -> None:
    """Nobody wants the work stopped."""


def look_at(
    recording: Recording,
    circuit: Stations | None = None,
    known: Sequence[Known] = (),
    car: CarSide | None = None,
    zones: Sequence[Zone] | None = None,
    like: Session | None = None,
    same_driver: bool = True,
    look: Callable[[], None] = nobody,
) -> Session:
    """Look at one session.

    Parameters
    ----------
    circuit : Stations, optional
        The circuit's line; made from the session's best lap where None.
    known : sequence of Known
        Zones whose ids and names are to be kept.
    car : CarSide, optional
        For the use of grip by the model, and the size of the car.
    zones : sequence of Zone, optional
        Zones of another session of the same circuit, to be matched to.
    like : Session, optional
        That other session: how it was laid onto the circuit serves for one without a whole lap.
    same_driver : bool
        Whether it is of the same driver, who keeps to the line he kept to there.
    look : callable
        Called between two steps; what it raises stops the work.

    Raises
    ------
    InputError, CannotTell
        If the log has no speed, no laps, or is of another circuit.
    """
    series = series_of(recording, None if like is None else like.series.origin_deg)
    if np.ptp(series.distance_m) < LEAST_WAY_M:
        raise CannotTell(
            "the laps of this log",
            because=f"the car does not move: it goes {np.ptp(series.distance_m):.0f} m in all",
            would_settle="a log of a car that is driven; is the speed in the right column?",
        )
    if circuit is not None:
        series = bent_as(circuit, series)
    path = path_of(series)
    look()
    moved, frame, closed = None, None, None
    if circuit is None:
        laps = split(series, path)
        circuit, closed = _own_circuit(series, path, laps)
        if not path.drawn:  # counted from the circuit's own start from now on
            laps = split(series, path, gate_of(circuit), None, circuit)
    else:
        path, laps, moved, frame = _onto(series, path, circuit, like)
    if "latitude_deg" in series.sources.get("position", ()):
        path = settled(path, series, circuit)
    look()
    placed = place_along(series, path, laps, circuit)
    look()
    lag = LAG_S
    if car is not None:
        lag = float(car.vector[at.BRAKE_DELAY] + car.vector[at.BRAKE_BUILD_UP])
    found = _seen_whole(brakings(series, lag_s=lag), recording, series)
    zones, passes = passes_of(placed, found, known, zones, lag)
    if not passes:
        raise CannotTell(
            "how the car was braked",
            because="it never brakes in this log, as its speed and its brake channel show it",
            would_settle="laps at speed; if a column is wrong, --map COLUMN=ignored leaves it out",
        )
    keeps = True if like is not None and same_driver and like.keeps_line else None
    if closed is not None or (like is not None and like.closure is not None):
        keeps = False  # its line is one lap of this log, not one that anybody keeps to
    wheels = like.evidence.wheels if like is not None and same_driver else None
    laid = (path.drawn, moved, frame)
    look()
    return _judged(recording, placed, zones, passes, car, closed, laid, keeps, wheels)


def bent_as(circuit: Stations, series: Series) -> Series:
    """Curvature of the circuit for a log that has none, where its laps are marked at the line.

    The way since the mark, stretched to the circuit's length, says where on it the car is.
    """
    if series.curvature_1pm is not None:
        return series
    marks = next((m for m in (by_counter(series), by_distance(series)) if m is not None), None)
    if marks is None or len(marks) == 0:
        return series
    length, way = circuit.length_m, series.distance_m
    at = np.interp(marks, series.time_s, way)
    place = np.interp(way, at, length * np.arange(len(at)))
    place += np.minimum(way - at[0], 0.0) + np.maximum(way - at[-1], 0.0)
    kappa = np.interp(place % length, circuit.s_m, circuit.curvature_1pm, period=length)
    sources = {**series.sources, "curvature": LENT, "lateral": LENT}
    lateral = kappa * series.speed_mps**2
    return replace(series, curvature_1pm=kappa, lateral_mps2=lateral, sources=sources)


HOLE_S: Final = 0.5
"""A longer time without a sample of the motion hides what the foot did (assumption)."""


def _seen_whole(
    found: Sequence[Braking], recording: Recording, series: Series
) -> tuple[Braking, ...]:
    """The brakings that no hole in the log touches: what lies in one is not known."""
    motion = [n for n in ("accel_x_mps2", "speed_mps") if n in recording.channels]
    if not motion:
        return tuple(found)
    times = np.unique(np.concatenate([recording[name].time_s for name in motion]))
    wide = np.flatnonzero(np.diff(times) > HOLE_S)
    begins, ends = times[wide], times[wide + 1]
    kept = []
    for one in found:
        until = min(int(max(one.low, one.release)), len(series.time_s) - 1)
        start, last = float(series.time_s[int(one.start)]), float(series.time_s[until])
        if not np.any((begins < last) & (ends + 0.5 * HOLE_S > start)):
            kept.append(one)
    return tuple(kept)


def gate_of(stations: Stations) -> Gate:
    """The start line of a circuit: across its first station."""
    heading = float(
        np.arctan2(stations.y_m[1] - stations.y_m[0], stations.x_m[1] - stations.x_m[0])
    )
    return Gate(float(stations.x_m[0]), float(stations.y_m[0]), heading)


def _own_circuit(series: Series, path: Path, laps: Split) -> tuple[Stations, Closure]:
    whole = laps.full or laps.whole
    if not whole:
        raise CannotTell(
            "where on a circuit the car was",
            because="the log holds no whole lap",
            would_settle="a circuit file, or a log of at least one whole lap",
        )
    best = min(whole, key=lambda lap: lap.duration_s)
    return circuit_from(path, series, *_samples(series, best))


def _samples(series: Series, lap: Lap) -> tuple[int, int]:
    return int(series.index(lap.start_s)), int(series.index(lap.end_s))


def _onto(
    series: Series, path: Path, circuit: Stations, like: Session | None
) -> tuple[Path, Split, float | None, Frame | None]:
    """Lay a path onto the circuit where it is not there yet, and cut it at the start line."""
    gate = gate_of(circuit)
    if path.drawn:
        return path, split(series, path, None, None, circuit), None, None
    if lies_on(path, series, circuit):
        return path, split(series, path, gate, None, circuit), 0.0, None
    try:
        frame = _registered(series, path, circuit)
    except CannotTell:  # without a whole lap of its own it may lie as the other session did
        if like is None or like.frame is None:
            raise
        if not lies_on(like.frame.apply(path), series, circuit):
            raise
        frame = like.frame
    path = frame.apply(path)
    return path, split(series, path, gate, None, circuit), frame.off_m, frame


def _registered(series: Series, path: Path, circuit: Stations) -> Frame:
    loose = split(series, path)
    if not loose.whole:
        raise _another_circuit("no whole lap that could be laid onto the circuit")
    quickest = sorted(loose.whole, key=lambda lap: lap.duration_s)
    frame = register(path, series, circuit, [_samples(series, lap) for lap in quickest])
    if frame is None:
        raise _another_circuit("the curvature of its laps does not match the circuit's")
    return frame


def _another_circuit(because: str) -> CannotTell:
    return CannotTell(
        "where on the circuit the car was",
        because=because,
        would_settle="the circuit this log is from, driven the same way round; or leave the "
        "circuit out, and it is made from the log",
    )


def _judged(
    recording: Recording,
    placed: Placed,
    zones: tuple[Zone, ...],
    passes: tuple[Pass, ...],
    car: CarSide | None,
    closed: Closure | None,
    laid: tuple[bool, float | None, Frame | None],
    keeps_line: bool | None,
    wheels: WheelSlip | None,
) -> Session:
    series, (drawn, moved, frame) = placed.series, laid
    shown, best = use_shown(series, pressed(series))
    uses = (
        None if car is None else use_by_model(series, car.vector, car.table, _shares(series, car))
    )
    track, base, weight = TRACK_M, WHEELBASE_M, 0.5
    (peak_x, peak_y), peak_sd = FRONT_PEAKS, PEAK_SD
    if car is not None:
        (peak_x, peak_y), peak_sd = front_peaks(car.vector, car.table), car.peak_sd
        track = float(car.vector[at.TRACK_FRONT])
        base, weight = float(car.vector[at.WHEELBASE]), float(car.vector[at.FRONT_WEIGHT])
    outward, keeps = outward_of(placed, zones, passes, keeps_line)
    wheels, axles = wheel_slip(series, track, wheels), axle_slip(series, base, weight)
    peak_y = peak_across(series, axles, peak_y, peak_sd)
    evidence = Evidence(
        wheels=wheels,
        axles=axles,
        front_over=front_over(series, wheels, axles, (peak_x, peak_y)),
        use_shown=shown,
        level=brake_level(placed),
        outward_m=outward,
        outward_by=series.sources["position"] if not drawn else series.sources["curvature"],
        counter=countersteer(series),
        anti_lock=car is not None and car.anti_lock,
    )
    events = events_of(placed, zones, passes, evidence)
    if series.speed_from_position:
        events = tuple(one for one in events if one.kind not in ROUGHLY)
    rows = with_ends(measured(placed, zones, passes, shown, uses), passes, series, wheels)
    rows = against_best(_spoilt(rows, events), {lap.lap_id for lap in placed.split.full})
    decel, side = combined(series)
    return Session(
        recording=recording,
        series=series,
        split=placed.split,
        placed=placed,
        zones=tuple(zones),
        passes=passes,
        rows=rows,
        events=events,
        evidence=evidence,
        decel_mps2=decel,
        side_mps2=side,
        shown_mps2=best,
        use_front=None if uses is None else uses[0],
        use_rear=None if uses is None else uses[1],
        closure=closed,
        drawn=drawn,
        moved=moved,
        frame=frame,
        anti_lock=evidence.anti_lock,
        keeps_line=keeps,
    )


ROUGHLY: Final = frozenset({"unused", "double_stab"})
"""A deceleration that is the second slope of a receiver's position swings by itself: on a log of
eight laps it made up thirty of these, most of them at over 90 %."""

SPOILT_BY: Final = frozenset({"lock_up", "rotation", "wide"})


def _spoilt(rows: Sequence[Measured], events: Sequence[Event]) -> list[Measured]:
    """Passes, those in which something let go marked."""
    gone = {(one.lap_id, one.zone_id) for one in events if one.kind in SPOILT_BY}
    return [replace(row, spoilt=(row.lap_id, row.zone_id) in gone) for row in rows]


BRAKED_LOAD: Final = 1.3
"""Load of a front wheel while braking over that at rest: about what 0.8 g does (assumption)."""


def front_peaks(vector: Floats, table: Floats) -> tuple[float, float]:
    """Slip along, and tangent of the slip angle, at which a braked front tyre of a car peaks. [-]

    Parameters
    ----------
    vector, table : ndarray
        The car, as `model.car.vectors` has it.
    """
    load = 0.5 * float(vector[at.MASS] * vector[at.FRONT_WEIGHT]) * GRAVITY_MPS2
    along, across = peak_slips(table, 0, BRAKED_LOAD * load, 1.0)
    return float(along), float(across)


def _shares(series: Series, car: CarSide) -> Floats:
    if series.setting is None:
        return np.full(len(series.time_s), car.share_usual)
    shares = car.share_of(series.setting)
    return np.where(np.isfinite(shares), shares, car.share_usual)
