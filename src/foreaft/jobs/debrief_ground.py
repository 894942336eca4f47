"""What a debrief rests on: logs, circuit, zones known, car, plan; and the sessions looked at."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from foreaft.base.errors import CannotTell, InputError
from foreaft.files.circuits import read_circuit
from foreaft.files.sheet import read_zones
from foreaft.jobs.common import Notes, Progress, identity
from foreaft.jobs.load import load_car, load_conditions, load_driver
from foreaft.jobs.requests import DebriefRequest
from foreaft.jobs.situation import SPACING_M, circuit_lap, either_way, middle_share, title_of
from foreaft.jobs.stop import arrays_of, scale_known
from foreaft.laps.match import Known
from foreaft.laps.session import CarSide, Session, front_peaks, look_at
from foreaft.logs.channels import in_words
from foreaft.logs.recording import Recording
from foreaft.model.answers import Envelope, Input, Plan
from foreaft.model.car import Car, CarArrays, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.report.words import listed
from foreaft.track.stations import Stations, stations_from

PEAK_CARS = 32
"""So many drawn cars say how well the peak of the front tyres is known."""


@dataclass(frozen=True, eq=False)
class Ground:
    """What sessions are held against: circuit, zones known, car."""

    circuit: Stations | None
    circuit_name: str
    known: tuple[Known, ...]
    car: Car | None
    side: CarSide | None
    arrays: CarArrays | None
    inputs: dict[str, Input]


def read_plan(file: Path) -> Plan:
    """The first plan of a JSON file that ``foreaft plan`` wrote.

    Raises
    ------
    InputError
        If the file cannot be read, or is no plan.
    """

    def refuse(message: str, value: str) -> InputError:
        return InputError(
            message,
            code="plan_unreadable",
            file=file,
            key="plan",
            value=value,
            allowed="the JSON of foreaft plan --json, or plan.json of its folder",
            hint="Make it with: foreaft plan ... --out FOLDER.",
        )

    try:
        found = json.loads(file.read_text("utf-8"))
    except OSError as error:
        raise refuse("The plan cannot be read.", error.strerror or str(error)) from error
    except ValueError as error:
        raise refuse("The plan is no JSON.", str(error)) from error
    first = found[0] if isinstance(found, list) and found else found
    try:
        return Envelope[Plan].model_validate(first).result
    except ValidationError as error:
        where = ".".join(str(part) for part in error.errors()[0]["loc"])
        raise refuse("This JSON is not a plan.", where) from error


def ground_of(
    request: DebriefRequest, plan: Plan | None, notes: Notes, progress: Progress
) -> Ground:
    car, side, arrays, inputs = None, None, None, {}
    progress("car and circuit", 0, 2)
    conditions, _ = load_conditions(request.conditions)
    if request.car is not None:
        car, file = load_car(request.car, request.quick)
        inputs["car"] = identity(car, file)
        notes.assume_car(car)
        arrays = arrays_of(car, conditions)
        side = _car_side(car, conditions, arrays, notes)
    progress("car and circuit", 1, 2)
    circuit: Stations | None = None
    known: list[Known] = []
    name = "a circuit made from the log"
    if request.circuit is not None:
        name = title_of(request.circuit)
        circuit, known = _circuit(request, car, conditions, notes)
        digest = hashlib.sha256(request.circuit.read_bytes()).hexdigest()[:12]
        inputs["circuit"] = Input(
            id=request.circuit.stem, revision=digest, file=str(request.circuit)
        )
    if plan is not None:
        known = [
            Known(zone.zone_id, zone.name, zone.apex_s_m, zone.turn_in_s_m)
            for zone in plan.zones
            if zone.apex_s_m is not None
        ] or known
    return Ground(circuit, name, tuple(known), car, side, arrays, inputs)


def _car_side(car: Car, conditions: Conditions, arrays: CarArrays, notes: Notes) -> CarSide:
    usual = middle_share(car, conditions)
    known = scale_known(car)
    settings, shares = arrays.settings, arrays.share[0]

    def share_of(values: np.ndarray) -> np.ndarray:
        if not known or len(settings) == 0:
            return np.full(len(values), np.nan)
        order = np.argsort(settings)
        return np.asarray(
            np.interp(values, settings[order], shares[order], left=np.nan, right=np.nan)
        )

    if not known:
        notes.assume(
            "front_share_frac",
            usual,
            "",
            "both ends let go together in a straight stop: the adjuster's scale is not known",
        )
    return CarSide(
        arrays.vector[0],
        arrays.table[0],
        share_of,
        usual,
        car.brakes.anti_lock,
        _peak_sd(car, conditions),
    )


def _peak_sd(car: Car, conditions: Conditions) -> float:
    """How far the peaks of the front tyres of such cars lie apart, as a part of them."""
    made = vectors(either_way(car), draw(car, 0, PEAK_CARS), conditions)
    peaks = [front_peaks(*one)[1] for one in zip(made.vector, made.table, strict=True)]
    return float(np.std(np.log(peaks[1:])))


def _circuit(
    request: DebriefRequest, car: Car | None, conditions: Conditions, notes: Notes
) -> tuple[Stations, list[Known]]:
    """The line of the circuit and the zones known on it: of the car's own lap, or of zones.csv."""
    file = request.circuit
    if file is None:
        raise AssertionError("asked without a circuit")
    if car is not None:
        driver, _ = load_driver(request.driver)
        lap = circuit_lap(file, car, conditions, driver, request.line, notes, request.zones)
        if lap.stations is None:
            raise AssertionError("a circuit lap has stations")
        faces = [one for one in lap.faces if one.apex_s_m is not None]
        return lap.stations, [
            Known(one.zone_id, one.name, float(one.apex_s_m or 0.0), one.turn_in_s_m)
            for one in faces
        ]
    raw = read_circuit(file)
    wanted = request.line or ("min_curvature" if raw.width_left_m is not None else "given")
    marks_at = request.zones or file.with_name("zones.csv")
    marks = read_zones(marks_at) if marks_at.exists() else ()
    known = [Known(one.zone_id, one.name, one.apex_s_m, one.turn_in_s_m) for one in marks]
    return stations_from(raw, line=wanted, spacing_m=SPACING_M), known


def sessions_of(
    recordings: Sequence[Recording],
    ground: Ground,
    like: Session | None,
    notes: Notes,
    progress: Progress,
    *,
    named: bool = False,
) -> list[Session]:
    """Look at sessions, all matched to the zones of one: the longest, if no other is given.

    Parameters
    ----------
    named : bool
        Whether there are other logs beside these: what is noted then says of which it is.
    """
    made: dict[int, Session] = {}
    same_driver = like is None
    refused: dict[int, CannotTell] = {}
    order = sorted(range(len(recordings)), key=lambda k: -recordings[k].duration_s)
    # What is refused is looked at again once another session says where the circuit lies.
    for number in (*order, *order):
        if number in made or (number in refused and like is None):
            continue
        at = partial(progress, "sessions", len(made), len(recordings))
        at()
        circuit = ground.circuit if like is None else like.placed.stations
        zones = None if like is None else like.zones
        try:
            one = look_at(
                recordings[number],
                circuit,
                ground.known,
                ground.side,
                zones,
                like,
                same_driver,
                at,
            )
        except CannotTell as error:  # a way to the pits and back beside a whole run
            refused[number] = error
            continue
        # The main one and the first are drawn; of the others only rows and events are told.
        made[number] = one if number in (order[0], 0) or like is None else one.light()
        like = like or one
    progress("sessions", len(recordings), len(recordings))
    _tell_delays(made.values(), notes, named)
    left = {number: error for number, error in refused.items() if number not in made}
    if not made and left:
        raise next(iter(left.values()))
    for number, why in left.items():
        notes.warn("session_left_out", _left_out(recordings[number], why, like))
    return [made[number] for number in sorted(made)]


def _tell_delays(sessions: Collection[Session], notes: Notes, named: bool) -> None:
    """Say how late channels were, those that were late alike in one sentence."""
    late: dict[str, list[float]] = {}
    files = listed(list(dict.fromkeys(Path(one.recording.file).name for one in sessions)))
    for one in sessions:
        for name, delay in one.series.delays_s.items():
            late.setdefault(name, []).append(1000.0 * delay)
    together: dict[str, list[str]] = {}
    for name, found in late.items():
        low, high = round(min(found)), round(max(found))
        span = f"{low} ms" if low == high else f"{low} to {high} ms"
        together.setdefault(span, []).append(in_words(name))
    for span, names in together.items():
        notes.warn(
            "channel_late",
            f"{listed(names)} {'was' if len(names) == 1 else 'were'} taken {span} earlier than "
            f"logged, to fit the accelerometers{f' ({files})' if named else ''}",
        )


def _left_out(left: Recording, why: CannotTell, like: Session | None) -> str:
    """Say which session was left out, and first of all if it is too short for anything."""
    laps = () if like is None else like.split.whole
    shortest = min((lap.duration_s for lap in laps), default=0.0)
    because = "it is shorter than a lap" if left.duration_s < shortest else why.because
    return (
        f"session {left.session} of {Path(left.file).name} ({left.duration_s:.0f} s) was left "
        f"out: {because}"
    )


def main_of(sessions: Sequence[Session]) -> Session:
    """The session zones and pictures are of: the longest."""
    return max(sessions, key=lambda one: one.recording.duration_s)
