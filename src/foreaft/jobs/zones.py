"""The job ``zones``: cut a circuit into braking zones and show them."""

from __future__ import annotations

import hashlib
from pathlib import Path

from foreaft.jobs.common import Notes, envelope, identity
from foreaft.jobs.load import load_car, load_conditions, load_driver
from foreaft.jobs.requests import ZonesRequest
from foreaft.jobs.situation import circuit_lap, outline_of
from foreaft.model.answers import Envelope, Input, Zones


def zones(request: ZonesRequest) -> Envelope[Zones]:
    """The braking zones of a circuit for one car: its line, its lap, where it brakes.

    Raises
    ------
    InputError
        If a file is wrong, or the car brakes for no corner.
    """
    notes = Notes()
    car, car_file = load_car(request.car)
    driver, driver_file = load_driver(request.driver)
    conditions, conditions_file = load_conditions(request.conditions)
    lap = circuit_lap(request.circuit, car, conditions, driver, request.line, notes, request.zones)
    if lap.circuit is None or lap.lap_time_s is None:
        raise AssertionError("a circuit lap has a circuit and a time")
    result = Zones(circuit=lap.circuit, lap_time_s=lap.lap_time_s, zones=lap.faces)
    digest = hashlib.sha256(request.circuit.read_bytes()).hexdigest()[:12]
    inputs = {
        "car": identity(car, car_file),
        "driver": identity(driver, driver_file),
        "conditions": identity(conditions, conditions_file),
        "circuit": Input(id=request.circuit.stem, revision=digest, file=str(request.circuit)),
    }
    asked = {"line": request.line} | {role: one.revision for role, one in inputs.items()}
    notes.assume_car(car)
    return envelope("zones", result, asked, notes, inputs=inputs)


def zones_picture(request: ZonesRequest, answer: Envelope[Zones], file: Path) -> None:
    """Draw the circuit with its zones as SVG.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    from foreaft.files.atomic import write_file
    from foreaft.report.circuit_map import zones_map

    car, _ = load_car(request.car)
    driver, _ = load_driver(request.driver)
    conditions, _ = load_conditions(request.conditions)
    lap = circuit_lap(
        request.circuit, car, conditions, driver, request.line, Notes(), request.zones
    )
    outline = outline_of(lap)
    if outline is None:
        raise AssertionError("a circuit lap has an outline")
    write_file(file, zones_map(outline, answer.result.zones))
