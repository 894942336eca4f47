"""The job ``live``: the plan of the nominal car again and again while somebody moves a slider.

It gives what ``plan`` gives without samples, by the same functions; a desk keeps what a moved
slider leaves alone.
Grip and fuel leave the line on the circuit; scatter, boldness and the price of a change leave the
limits of the car too; the number of changes leaves all costs.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from threading import Lock
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from foreaft.jobs.common import Notes, envelope, identity
from foreaft.jobs.faces import adjuster_face
from foreaft.jobs.load import (
    driven_by,
    known_adjuster,
    load_car,
    load_conditions,
    load_driver,
    moved_day,
    moved_driver,
)
from foreaft.jobs.plan import (
    frontier_of,
    hand_of,
    steps_of,
    the_lap,
    today_of,
    warn_of_cars,
    zones_identity,
)
from foreaft.jobs.requests import LiveRequest
from foreaft.jobs.situation import (
    SIDE_USE,
    Lap,
    circuit_line,
    content_of,
    lap_on,
    marks_beside,
    nominal,
)
from foreaft.model.adjuster import Adjuster
from foreaft.model.answers import Envelope, Input, LapSetting, Total, Warn
from foreaft.model.answers_live import Live, LiveZone
from foreaft.model.car import draw
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.plan import cost as co
from foreaft.plan.ensemble import Cars, Passes, costs, gather, limits
from foreaft.plan.human import driver_row
from foreaft.plan.programme import Programme, programme

T = TypeVar("T")
Floats = NDArray[np.float64]

KEPT: Final = 32
"""Things a desk keeps; the largest, the limits of one car, is some 3 MB."""


class Desk:
    """What was worked out lately, by what it was worked out from; any thread may ask.

    A thing that two threads ask for at the same time is worked out once.
    """

    def __init__(self, kept: int = KEPT) -> None:
        """Keep at most so many things, those asked for last."""
        self._most = kept
        self._things: OrderedDict[Hashable, Future[Any]] = OrderedDict()
        self._lock = Lock()

    def kept(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return the thing of a key, made now if it is not here; an error is not kept."""
        with self._lock:
            found = self._things.get(key)
            mine: Future[Any] = Future()
            if found is None:
                self._things[key] = mine
            self._things.move_to_end(key)
            while len(self._things) > self._most:
                self._things.popitem(last=False)
        if found is not None:
            there: T = found.result()
            return there
        try:
            mine.set_result(make())
        except BaseException as error:
            with self._lock:
                if self._things.get(key) is mine:
                    del self._things[key]
            mine.set_exception(error)
        made: T = mine.result()
        return made


@dataclass(frozen=True, eq=False)
class _Known:
    """A car, driver or conditions as used, what it was found by, and its identity."""

    thing: Any
    key: Hashable
    input: Input


@dataclass(frozen=True, eq=False)
class _Ground:
    """What no trait of the driver changes but how deep he brakes: lap, car and its limits."""

    lap: Lap
    cars: Cars
    passes: Passes
    warnings: list[Warn]


def live(request: LiveRequest, desk: Desk) -> Envelope[Live]:
    """Plan for the nominal car with the numbers of the request in place of those of the files.

    Raises
    ------
    InputError, CannotTell, NoPlan
        As ``plan`` does; a number moved out of its range is refused as in a file.
    """
    car, driver, conditions = _car(request, desk), _driver(request, desk), _day(request, desk)
    adjuster = known_adjuster(car.thing)
    ground_key = ("ground", car.key, conditions.key, _habits(driver.thing), _road_key(request))
    ground = desk.kept(
        ground_key, lambda: _ground(request, car, driver.thing, conditions.thing, desk)
    )
    row = driver_row(driver.thing, car.thing.brakes.anti_lock)
    arrays = ground.cars.arrays
    cells = desk.kept(
        ("cells", ground_key, row.tobytes()),
        lambda: costs(arrays, ground.lap.arrays, row, ground.passes)[None],
    )
    hand = hand_of(ground.lap, driver.thing, adjuster, arrays.settings, request.changes)
    made = programme(cells, replace(hand, today=today_of(car.thing, arrays.settings)))
    inputs = {
        "car": car.input,
        "driver": driver.input,
        "conditions": conditions.input,
        "zones": zones_identity(request),
    }
    asked = request.model_dump(mode="json", exclude={"car", "circuit", "sheet", "zones", "driver"})
    asked |= {role: one.revision for role, one in inputs.items()}
    notes = Notes(warnings=list(ground.warnings))
    result = _result(ground, adjuster, cells[0], made, hand.changes_max)
    return envelope("live", result, asked, notes, inputs=inputs)


def _car(request: LiveRequest, desk: Desk) -> _Known:
    key = ("car", str(request.car), content_of(request.car), request.quick)

    def read() -> _Known:
        car, file = load_car(request.car, request.quick)
        return _Known(car, key, identity(car, file))

    return desk.kept(key, read)


def _driver(request: LiveRequest, desk: Desk) -> _Known:
    written = ("driver", str(request.driver), content_of(request.driver))
    key = (*written, request.scatter_scale, request.boldness, request.change_cost_s)

    def read() -> _Known:
        driver, file = desk.kept(written, lambda: load_driver(request.driver))
        driver = moved_driver(driver, request)
        if request.change_cost_s is not None:
            driver = driver.replace(change_cost_s=request.change_cost_s)
        return _Known(driver, key, identity(driver, file))

    return desk.kept(key, read)


def _day(request: LiveRequest, desk: Desk) -> _Known:
    written = ("day", str(request.conditions), content_of(request.conditions))
    key = (*written, request.grip_scale, request.fuel_kg)

    def read() -> _Known:
        conditions, file = desk.kept(written, lambda: load_conditions(request.conditions))
        conditions = moved_day(conditions, request)
        return _Known(conditions, key, identity(conditions, file))

    return desk.kept(key, read)


def _habits(driver: Driver) -> Hashable:
    """What of a driver shapes the road of a zone and the car on it."""
    return driver.release_frac, driver.brake_at_turn_in_frac, driver.clutch_in_on_braking


def _road_key(request: LiveRequest) -> Hashable:
    road = request.circuit or request.sheet
    marks = None if request.circuit is None else marks_beside(request.circuit, request.zones)
    return str(request.circuit), str(road), content_of(road), content_of(marks), request.line


def _ground(
    request: LiveRequest, known: _Known, driver: Driver, conditions: Conditions, desk: Desk
) -> _Ground:
    car, notes = driven_by(known.thing, driver), Notes()
    drawn_from = ("draws", known.key, driver.clutch_in_on_braking)
    draws = desk.kept(drawn_from, lambda: draw(car, 0, 0))
    circuit, sheet, kind = request.circuit, request.sheet, request.line
    if circuit is None or sheet is not None:  # told there what is wrong with both or neither
        lap = the_lap(circuit, sheet, request.zones, kind, car, conditions, driver, notes)
    else:
        body = nominal(car, conditions, draws)
        lap = lap_on(circuit_line(circuit, kind), car, body, driver, notes, request.zones)
    typed = lap.arrays if sheet is not None else None
    cars = gather(car, conditions, 0, 0, typed, names=[f.name for f in lap.faces], draws=draws)
    warn_of_cars(cars, car, notes)
    return _Ground(lap, cars, limits(cars.arrays, lap.arrays, SIDE_USE), notes.warnings)


def _result(
    ground: _Ground, adjuster: Adjuster, cells: Floats, made: Programme, changes_max: int
) -> Live:
    settings, lap = ground.cars.arrays.settings, ground.lap
    chosen = np.array(made.plan.setting_index)
    frontier = frontier_of(made, settings)
    time = float(sum(cells[z, i, co.TIME] for z, i in enumerate(chosen)))
    hand = adjuster.hand
    return Live(
        adjuster=adjuster_face(adjuster),
        settings=[float(one) for one in settings],
        changes_max=changes_max,
        zones=[_zone(lap, made, settings, cells[z], z) for z in range(len(lap.faces))],
        steps=steps_of(lap, chosen, hand.reach_s, hand.seconds_per_step_s),
        total=Total(changes=made.plan.changes, cost_us=made.plan.cost_us, time_s=time),
        lap_setting=LapSetting(
            setting=float(settings[made.lap.setting_index[0]]),
            cost_us=made.lap.cost_us,
            regret_s=None,
        ),
        frontier=frontier,
        lost_s=[(one.cost_us - frontier[-1].cost_us) * 1e-6 for one in frontier],
    )


def _zone(lap: Lap, made: Programme, settings: Floats, cells: Floats, z: int) -> LiveZone:
    low, high = made.flat[z]
    events = cells[:, co.P_EVENT : co.P_EVENT + co.EVENTS]
    return LiveZone(
        zone_id=lap.faces[z].zone_id,
        name=lap.faces[z].name,
        setting=float(settings[made.plan.setting_index[z]]),
        own_setting=float(settings[made.own[z][0]]),
        flat_low=float(settings[low]),
        flat_high=float(settings[high]),
        advice=made.verdicts[z],
        cost_us=made.problem.cost_us[z].tolist(),
        p_front=_drawn(events[:, co.FRONT_STRAIGHT] + events[:, co.FRONT_TURNING], 5),
        p_rear=_drawn(events[:, co.REAR_STRAIGHT] + events[:, co.REAR_TURNING], 5),
        brake_distance_m=_drawn(cells[:, co.BRAKE_DISTANCE], 2),
        time_s=_drawn(cells[:, co.TIME], 4),
        feasible=[bool(spent == 0.0) for spent in cells[:, co.SPENT]],
    )


def _drawn(values: Floats, digits: int) -> list[float]:
    return [round(float(one), digits) for one in values]
