"""The job ``advise``: what a zone did at a setting, what to try next, and what that narrows."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.files.history import Entry, History, append, mark_of, read_history
from foreaft.files.history import take_back as take_report_back
from foreaft.jobs.common import Cancelled, Notes, Progress, envelope, identity, never, silent
from foreaft.jobs.faces import SETTLES
from foreaft.jobs.load import (
    driven_by,
    joint_draws,
    known_adjuster,
    load_car,
    load_conditions,
    load_driver,
)
from foreaft.jobs.plan import the_lap, warn_of_cars, zones_identity
from foreaft.jobs.requests import AdviseRequest
from foreaft.jobs.situation import SIDE_USE, Lap
from foreaft.model.adjuster import Adjuster
from foreaft.model.answers import Advice, Envelope, Input, Narrowed, Report, StepWeighed, ZoneFace
from foreaft.model.car import Car
from foreaft.model.driver import Driver
from foreaft.model.fields import Quantity, catalogue
from foreaft.plan import cost as co
from foreaft.plan import symptoms as sy
from foreaft.plan.arrange import ZoneArrays
from foreaft.plan.ensemble import Cars, fields, gather
from foreaft.plan.human import driver_row
from foreaft.plan.programme import GOOD_ENOUGH_S
from foreaft.report.words import direction_of, format_percent, format_setting

Floats = NDArray[np.float64]

TOLD_RANGES: Final = 5
"""So many narrowed ranges are told, the most narrowed first."""

ELSE_SHOWN: Final = f"{max(sy.LEAST[:-1]):g}, came round {sy.LEAST[3]:g}"

PACES_SHOWN: Final = "as planned, " + ", ".join(f"{pace:g}" for pace in sy.PACES if pace)

CROSSOVER: Final = "crossover_setting"

NAMES: Final = {
    "locked_inside_front": "the inside front locked",
    "locked_both_fronts": "both fronts locked",
    "locked_rears": "the rears locked in a straight line",
    "loose_on_entry": "it was loose on entry",
    "came_round": "it came round",
    "would_not_turn": "it would not turn",
    "fine": "it was fine",
}

BALANCE: Final = {
    "locked_inside_front": "the front is asked for too much of the braking",
    "locked_both_fronts": "the front is asked for too much of the braking",
    "locked_rears": "the rear is asked for too much of the braking",
    "loose_on_entry": "braking leaves the rear too little grip",
    "came_round": "braking leaves the rear too little grip",
    "would_not_turn": "braking has spent the front",
}

ELSE: Final = {
    "locked_inside_front": "a kerb, a bump or a jab at the pedal",
    "locked_both_fronts": "a late brake point, a bump or a jab at the pedal",
    "locked_rears": "a downshift without enough throttle, a bump or a jab at the pedal",
    "loose_on_entry": "a downshift, a bump, a gust or a pedal let off too fast",
    "came_round": "a downshift, a bump, a gust or a pedal let off too fast",
    "would_not_turn": "too much speed for the corner, which no setting cures",
}

TESTS: Final = {
    "locked_inside_front": "three passes with the same brake point and a softer first hit; if it "
    "still locks it is the balance",
    "locked_both_fronts": SETTLES,
    "locked_rears": "three straight stops from the same speed with the clutch in or the downshifts "
    "left late; if the rears still lock it is the balance",
    "loose_on_entry": "three passes at the same speed with the last downshift left until after "
    "turn-in; if it is still loose it is the balance. Or " + SETTLES,
    "came_round": SETTLES + ", from further forward",
    "would_not_turn": "three passes at the same setting, braking 10 m earlier for 5 km/h less at "
    "turn-in; if it turns then, it was the speed and not the balance",
    "fine": SETTLES,
}

CAME_ROUND: Final = (
    "The car came round: do not go on at that setting. Go one step forward before the next lap, "
    "brake earlier there, and let somebody qualified look at brakes and tyres if it happens again."
)


@dataclass(frozen=True, eq=False)
class _Scene:
    """What a report is judged against; cars without the nominal one."""

    car: Car
    driver: Driver
    adjuster: Adjuster
    lap: Lap
    cars: Cars
    row: Floats
    forward: int

    @property
    def settings(self) -> Floats:
        return self.cars.arrays.settings


@dataclass(frozen=True, eq=False)
class _Judged:
    """What the cars say of one report, all reports counted."""

    weights: sy.Weights
    by_balance: float | None
    decision: sy.Decision


def advise(
    request: AdviseRequest, progress: Progress = silent, cancelled: Cancelled = never
) -> Envelope[Advice]:
    """Weigh what was felt, give the next setting (at most one step on) and keep both.

    With ``remember`` earlier reports of the same car, circuit and driver are weighed too.

    Raises
    ------
    InputError, CannotTell, Cancelled
        See :mod:`foreaft.base.errors`; then nothing is kept.
    """
    notes = Notes()
    times = _times(request)
    scene, inputs = _scene(request, notes)
    zone = find_zone(scene.lap.faces, request.zone)
    at = find_setting(scene.adjuster, request.setting)
    trouble = sy.with_trouble(request.symptom, times, request.passes)
    new = sy.Report(zone, at, request.symptom, trouble, request.passes)
    entries = _earlier(request, scene, inputs, notes) if request.remember else []
    earlier = [_as_report(scene, entry) for entry in entries]
    judged = _judge(scene, [*earlier, new], progress, cancelled)
    result = _advice(scene, new, judged, times, len(earlier) + 1)
    _note(judged, request, notes)
    if request.remember:
        _keep(_entry(request, scene, inputs, result, times), notes)
    return _answer(request, result, inputs, entries, notes, trouble)


def history(
    car: Path | str,
    circuit: Path | None,
    driver: Path | str | None = None,
    take_back: str | None = None,
) -> Envelope[Report]:
    """What was changed and why, oldest first, for one car, circuit (or zone sheet) and driver.

    The report with the mark ``take_back`` is taken out of it first.

    Raises
    ------
    InputError
        If a file is wrong, no circuit is named, the history cannot be read, or no report of the
        mark stands in it.
    """
    if circuit is None:
        raise InputError(
            "a history belongs to a circuit or a zone sheet",
            code="circuit_or_sheet",
            key="circuit, sheet",
            allowed="one of the two",
            hint="name the file the reports were made with",
        )
    notes = Notes()
    car_id, driver_id = load_car(car)[0].id, load_driver(driver)[0].id
    if take_back is not None:
        take_report_back(car_id, circuit.stem, driver_id, take_back)
    found = read_history(car_id, circuit.stem, driver_id)
    _warn_damaged(found, notes)
    lines = [_line(entry) for entry in found.entries]
    asked = {"car": car_id, "circuit": circuit.stem, "driver": driver_id}
    return envelope("history", Report(lines=lines), asked, notes)


def find_zone(faces: list[ZoneFace], wanted: str) -> int:
    """Row of the zone with this id or name, capitals not minded.

    Raises
    ------
    InputError
        If there is none, or two zones share the name; the zones are listed.
    """
    key = wanted.strip().casefold()
    by_id = [i for i, face in enumerate(faces) if face.zone_id.casefold() == key]
    rows = by_id or [i for i, face in enumerate(faces) if face.name.casefold() == key]
    if len(rows) == 1:
        return rows[0]
    listed = ", ".join(f"{face.zone_id} ({face.name})" for face in faces)
    raise InputError(
        "two zones have this name" if rows else "there is no such zone",
        code="ambiguous_zone" if rows else "unknown_zone",
        key="zone",
        value=wanted,
        allowed=listed,
        hint="give the id of the zone" if rows else "give an id or a name of that list",
    )


def find_setting(adjuster: Adjuster, setting: float) -> int:
    """Index of a setting the adjuster shows.

    Raises
    ------
    InputError
        If it never shows it.
    """
    settings = adjuster.settings
    nearest = int(np.abs(settings - setting).argmin())
    if abs(settings[nearest] - setting) <= 1e-6 * adjuster.step:
        return nearest
    raise InputError(
        "the adjuster never shows this setting",
        code="not_a_setting",
        key="setting",
        value=setting,
        allowed=f"{adjuster.min:g} to {adjuster.max:g} in steps of {adjuster.step:g}",
        hint="use the number as the driver reads it",
    )


def _times(request: AdviseRequest) -> int:
    """How often it happened; "fine" without a number means every pass."""
    usual = request.passes if request.symptom == "fine" else 1
    times = usual if request.times is None else request.times
    lowest = 1 if request.symptom == "fine" else 0
    if not lowest <= times <= request.passes:
        raise InputError(
            "it cannot have happened so often in so many passes",
            code="times_out_of_range",
            key="times",
            value=times,
            allowed=f"{lowest} to passes = {request.passes}",
            hint='if no pass was fine, say what they did instead of "fine"',
        )
    return times


# ---------------------------------------------------------------- the situation


def _scene(request: AdviseRequest, notes: Notes) -> tuple[_Scene, dict[str, Input]]:
    car, car_file = load_car(request.car, request.quick)
    driver, driver_file = load_driver(request.driver)
    conditions, conditions_file = load_conditions(request.conditions)
    adjuster = known_adjuster(car)
    notes.assume_car(car)
    notes.assume_driver(driver)
    driven = driven_by(car, driver)
    lap = the_lap(
        request.circuit,
        request.sheet,
        request.zones,
        request.line,
        driven,
        conditions,
        driver,
        notes,
    )
    typed = lap.arrays if request.sheet is not None else None
    names = [face.name for face in lap.faces]
    joint = joint_draws(car, car_file)
    cars = gather(driven, conditions, request.seed, request.samples, typed, joint, names)
    warn_of_cars(cars, driven, notes)
    inputs = {
        "car": identity(car, car_file),
        "driver": identity(driver, driver_file),
        "conditions": identity(conditions, conditions_file),
        "zones": zones_identity(request),
    }
    forward = 1 if adjuster.higher_means == "front" else -1
    sampled = _without_nominal(cars)
    return _Scene(driven, driver, adjuster, lap, sampled, driver_row(driver), forward), inputs


def _without_nominal(cars: Cars) -> Cars:
    arrays = cars.arrays
    return Cars(
        arrays._replace(vector=arrays.vector[1:], table=arrays.table[1:], share=arrays.share[1:]),
        {key: values[1:] for key, values in cars.draws.items()},
        cars.crossover_share[1:],
        cars.kept_frac,
        cars.nominal_fits,
    )


# ---------------------------------------------------------------- the history


def _earlier(
    request: AdviseRequest, scene: _Scene, inputs: dict[str, Input], notes: Notes
) -> list[Entry]:
    """Earlier reports that can be weighed with this one; what is left out is said."""
    found = read_history(inputs["car"].id, inputs["zones"].id, inputs["driver"].id)
    _warn_damaged(found, notes)
    kept, left_out = [], []
    for entry in found.entries:
        why = _unlike(scene, entry, inputs)
        if why is None:
            kept.append(entry)
        else:
            left_out.append(why)
    for why in sorted(set(left_out)):
        count = left_out.count(why)
        notes.warn("history_left_out", f"{count} earlier report(s) not weighed: {why}")
    return kept


def _unlike(scene: _Scene, entry: Entry, inputs: dict[str, Input]) -> str | None:
    """Why an earlier report does not speak of the situation of today; None if it does."""
    if entry.car_revision != inputs["car"].revision:
        return "the car file or its anchor has changed since"
    if entry.conditions_revision != inputs["conditions"].revision:
        return "other conditions"
    zones = {(face.zone_id, face.name.casefold()) for face in scene.lap.faces}
    if (entry.zone_id, entry.zone_name.casefold()) not in zones:
        return "the circuit or sheet has no such zone any more"
    if entry.symptom not in sy.SYMPTOMS or entry.times > entry.passes:
        return "the symptom or its count is none we know"
    if np.abs(scene.settings - entry.from_setting).min() > 1e-6 * scene.adjuster.step:
        return "the adjuster never shows its setting"
    return None


def _as_report(scene: _Scene, entry: Entry) -> sy.Report:
    trouble = sy.with_trouble(entry.symptom, entry.times, entry.passes)
    zone = next(i for i, face in enumerate(scene.lap.faces) if face.zone_id == entry.zone_id)
    at = find_setting(scene.adjuster, entry.from_setting)
    return sy.Report(zone, at, entry.symptom, trouble, entry.passes)


def _entry(
    request: AdviseRequest, scene: _Scene, inputs: dict[str, Input], result: Advice, times: int
) -> Entry:
    return Entry(
        schema="foreaft.history/1",
        at=datetime.now(UTC).isoformat(timespec="seconds"),
        car_id=inputs["car"].id,
        car_revision=inputs["car"].revision,
        circuit_id=inputs["zones"].id,
        driver_id=inputs["driver"].id,
        conditions_id=inputs["conditions"].id,
        conditions_revision=inputs["conditions"].revision,
        zone_id=result.zone_id,
        zone_name=result.zone_name,
        symptom=request.symptom,
        times=times,
        passes=request.passes,
        from_setting=result.from_setting,
        to_setting=result.to_setting,
        because=result.because,
    )


def _keep(entry: Entry, notes: Notes) -> None:
    """Add to the history; advice that could not be kept is still advice."""
    try:
        append(entry)
    except InputError as error:
        notes.warn("history_not_kept", f"this report was not kept: {error}")


def _warn_damaged(found: History, notes: Notes) -> None:
    if found.damaged:
        lines = ", ".join(f"{one.line} ({one.why})" for one in found.damaged[:3])
        notes.warn(
            "history_damaged",
            f"{len(found.damaged)} line(s) of {found.file.name} cannot be read and are not "
            f"weighed: line {lines}; the next report moves them to "
            f"{found.file.with_suffix('.damaged').name}",
        )


def _line(entry: Entry) -> dict[str, Any]:
    return {
        "report": mark_of(entry),
        "at": entry.at,
        "zone": f"{entry.zone_name} ({entry.zone_id})",
        "symptom": f"{entry.symptom.replace('_', ' ')} {entry.times} of {entry.passes}",
        "from": entry.from_setting,
        "to": entry.to_setting,
        "because": entry.because,
    }


# ---------------------------------------------------------------- the judgement


def _judge(
    scene: _Scene, reports: list[sy.Report], progress: Progress, cancelled: Cancelled
) -> _Judged:
    """Weigh all reports, the last being the one that asks for advice."""
    new = reports[-1]
    chances = _chances(scene, reports, progress, cancelled)
    pairs = zip(chances, reports, strict=True)
    log_like = sum(
        (sy.log_likelihood(chance, r.trouble, r.passes) for chance, r in pairs),
        start=np.zeros(len(scene.cars.crossover_share)),
    )
    weights = sy.weigh(log_like)
    share = scene.cars.arrays.share
    rows = [sy.paced(scene.row, pace) for pace in sy.PACES]
    cells = np.array([_fields(scene, new.zone, share, row, cancelled) for row in rows])
    both = sy.joint(chances[-1], weights.each, new)
    decision = sy.decide(cells[..., co.COST], both, reports, scene.forward)
    felt = new.symptom != "fine" and new.trouble > 0
    by_balance = sy.by_balance(chances[-1], both, new) if felt else None
    return _Judged(weights, by_balance, decision)


def _chances(
    scene: _Scene, reports: list[sy.Report], progress: Progress, cancelled: Cancelled
) -> list[Floats]:
    """Chance per pass of what each report says, each of shape (paces, cars)."""
    places = sorted({(one.zone, one.setting) for one in reports})
    wanted = scene.driver.rotation_preference
    found: dict[tuple[int, int], Floats] = {}
    for done, (zone, setting) in enumerate(places):
        share = np.ascontiguousarray(scene.cars.arrays.share[:, setting : setting + 1])
        rows = [
            _fields(scene, zone, share, sy.paced(scene.row, pace), cancelled)[:, 0]
            for pace in sy.PACES
        ]
        found[zone, setting] = sy.chances(np.array(rows), wanted)
        progress("reports", done + 1, len(places))
    return [found[r.zone, r.setting][:, :, sy.SYMPTOMS.index(r.symptom)] for r in reports]


def _fields(scene: _Scene, zone: int, share: Floats, row: Floats, cancelled: Cancelled) -> Floats:
    """Cells of one zone, shape (cars, settings, cost.CELL_SIZE)."""
    whole, one = scene.lap.arrays, slice(zone, zone + 1)
    part = ZoneArrays(whole.zones[one], whole.s[one], whole.roads[one], whole.reach[one])
    arrays = scene.cars.arrays._replace(share=share)
    return fields(arrays, part, row, SIDE_USE, cancelled=cancelled)[:, 0]


# ---------------------------------------------------------------- the answer


def _advice(scene: _Scene, new: sy.Report, judged: _Judged, times: int, reports: int) -> Advice:
    face = scene.lap.faces[new.zone]
    to = new.setting + scene.forward * judged.decision.steps
    return Advice(
        zone_id=face.zone_id,
        zone_name=face.name,
        from_setting=float(scene.settings[new.setting]),
        to_setting=float(scene.settings[to]),
        direction={1: "front", 0: "stay", -1: "rear"}[judged.decision.steps],  # type: ignore[arg-type]
        because=_because(scene, new, judged, times),
        narrowed=_narrowed(scene, judged.weights),
        cannot_tell=_cannot_tell(scene, new, judged),
        by_balance_frac=judged.by_balance,
        best_forward_frac=judged.decision.forward_frac,
        best_rearward_frac=judged.decision.rearward_frac,
        weighed=[
            StepWeighed(
                setting=float(scene.settings[new.setting + scene.forward * one.steps]),
                gain_s=one.gain_s,
                give_or_take_s=one.give_or_take_s,
                better_frac=one.better_frac,
            )
            for one in judged.decision.moves
        ],
        cars=len(judged.weights.each),
        cars_effective=judged.weights.cars,
        reports=reports,
    )


def _because(scene: _Scene, new: sy.Report, judged: _Judged, times: int) -> str:
    parts = [_step_sentence(scene, new, judged)]
    happened = f"In {times} of {new.passes} passes {NAMES[new.symptom]}"
    if judged.by_balance is None:
        parts.append(happened + ".")
    else:
        share = judged.by_balance
        parts.append(
            f"{happened}: {format_percent(share)} likely because {BALANCE[new.symptom]}, "
            f"{format_percent(1.0 - share)} likely something else: {ELSE[new.symptom]}."
        )
    if new.symptom == "came_round" and new.trouble:
        parts.append("A car that came round goes forward at once, whatever the numbers say.")
    elif judged.decision.forced:
        parts.append("A rear that lets go so often goes forward first, whatever the numbers say.")
    parts.append(_mass_sentence(scene, new, judged))
    parts.extend(_gain_sentence(scene, new, one) for one in judged.decision.moves)
    if new.symptom == "fine" and not judged.decision.steps:
        left = max(judged.decision.regret_s, 0.0)
        parts.append(
            f"All in all {left:.3f} s a pass are left here; what works is not changed "
            f"for less than {GOOD_ENOUGH_S:.3f} s or what is not sure."
        )
    if judged.decision.barred and not (new.symptom == "came_round" and new.trouble):
        parts.append("The car has come round here at this setting or further forward before.")
    return " ".join(parts)


def _step_sentence(scene: _Scene, new: sy.Report, judged: _Judged) -> str:
    adjuster = scene.adjuster
    here = format_setting(float(scene.settings[new.setting]), adjuster.step)
    if adjuster.higher_means is None:
        raise AssertionError("advised without a direction")
    counts = direction_of(adjuster.higher_means).replace("Bigger", "bigger")
    if not judged.decision.steps:
        return f"Stay at {here} ({counts})."
    to = float(scene.settings[new.setting + scene.forward * judged.decision.steps])
    way = "FORWARD" if judged.decision.steps > 0 else "REARWARD"
    return f"One step {way}, {here} -> {format_setting(to, adjuster.step)} ({counts})."


def _mass_sentence(scene: _Scene, new: sy.Report, judged: _Judged) -> str:
    here = format_setting(float(scene.settings[new.setting]), scene.adjuster.step)
    ahead, behind = judged.decision.forward_frac, judged.decision.rearward_frac
    return (
        f"Of the cars and ways of driving that fit, counted by how well they explain the reports, "
        f"the best setting of this zone is further forward than {here} for {_part(ahead)}, "
        f"further rearward for {_part(behind)}."
    )


def _gain_sentence(scene: _Scene, new: sy.Report, one: sy.Move) -> str:
    to = float(scene.settings[new.setting + scene.forward * one.steps])
    verb = "gains" if one.gain_s >= 0.0 else "costs"
    return (
        f"{format_setting(to, scene.adjuster.step)} {verb} {abs(one.gain_s):.3f} s a pass, give or "
        f"take {one.give_or_take_s:.3f} s, and is better in {_part(one.better_frac)}."
    )


def _part(fraction: float) -> str:
    """A part of a few hundred cars: none and all of them are not told as certainty."""
    if fraction < 0.01:
        return "under " + format_percent(0.01)
    return "over " + format_percent(0.99) if fraction > 0.99 else format_percent(fraction)


def _cannot_tell(scene: _Scene, new: sy.Report, judged: _Judged) -> str | None:
    """What is left open, and the test that would settle it; None where the cars agree."""
    if new.symptom == "fine" or not new.trouble:
        return None
    if not judged.decision.moves:
        end = "front" if sy.WAYS[new.symptom][-1] > 0 else "rear"
        return (
            f"No step to the {end} is left or allowed here. Brake earlier or less; the range of "
            "the adjuster is for a qualified person to move."
        )
    asked = judged.decision.moves[0]
    forward, rearward = judged.decision.forward_frac, judged.decision.rearward_frac
    if (rearward if asked.steps > 0 else forward) > 0.5:
        why = "what was felt and what is known of the car point opposite ways"
    elif judged.decision.steps or asked.sure_frac <= 1.0 - asked.enough_frac:
        return None
    else:
        why = "the gain of a step is smaller than its own uncertainty"
    return f"Cannot tell whether a step helps: {why}. What would settle it: {TESTS[new.symptom]}."


def _narrowed(scene: _Scene, weights: sy.Weights) -> list[Narrowed]:
    """The ranges that shrank, the crossover first, then by how much they did."""
    known = catalogue(Car)
    found: list[tuple[float, Narrowed]] = []
    numbers = {CROSSOVER: _crossover_settings(scene.cars)} | dict(scene.cars.draws)
    for key, values in numbers.items():
        ends = sy.narrowed(values, weights)
        if ends is None:
            continue
        before_low, before_high, low, high = ends
        entry = known.get(".".join(p for p in key.split(".") if not p.isdecimal()))
        about = None if entry is None else entry.about
        label = "setting at which both ends let go together in a straight stop"
        one = Narrowed(
            key=key,
            low=low,
            high=high,
            before_low=before_low,
            before_high=before_high,
            label=label if key == CROSSOVER else (about.meaning if about else key),
            unit=about.unit if isinstance(about, Quantity) else "",
        )
        left = (high - low) / (before_high - before_low)
        found.append((-1.0 if key == CROSSOVER else left, one))
    found.sort(key=lambda pair: pair[0])
    return [one for _, one in found[:TOLD_RANGES]]


def _crossover_settings(cars: Cars) -> Floats:
    """Setting at the crossover of a straight stop per car; straight on beyond the adjuster."""
    settings, found = cars.arrays.settings, []
    for row, crossover in zip(cars.arrays.share, cars.crossover_share, strict=True):
        rising = np.sign(row[-1] - row[0])
        inside = int(np.searchsorted(rising * row, rising * crossover))
        after = min(max(inside, 1), len(row) - 1)
        slope = (settings[after] - settings[after - 1]) / (row[after] - row[after - 1])
        found.append(settings[after - 1] + slope * (crossover - row[after - 1]))
    return np.array(found)


def _note(judged: _Judged, request: AdviseRequest, notes: Notes) -> None:
    for key, value, unit in (
        ("advise.paces", PACES_SHOWN, "of the limit"),
        ("advise.reports_of_something_else_frac", ELSE_SHOWN, "per pass"),
        ("advise.symptom_told_at_most_frac", sy.MOST, "per pass"),
        ("advise.came_round_per_rear_event_frac", sy.ROUND_SHARE, ""),
        ("advise.balance_complained_of_at_most_frac", sy.FELT_MOST, "per pass"),
    ):
        notes.assume(key, value, unit, "assumption: docs/theory/symptoms.md")
    if judged.weights.tempered < 1.0:
        notes.warn(
            "reports_tempered",
            "few cars inside the stated ranges explain the reports; they were weighed at power "
            f"{judged.weights.tempered:.2f} so that {judged.weights.cars:.0f} cars still count",
        )
    if not request.remember:
        notes.warn("history_left_alone", "earlier reports were not read and this one is not kept")


def _answer(
    request: AdviseRequest,
    result: Advice,
    inputs: dict[str, Input],
    entries: list[Entry],
    notes: Notes,
    trouble: int,
) -> Envelope[Advice]:
    paths = {"car", "circuit", "sheet", "zones", "driver", "conditions"}
    asked = request.model_dump(mode="json", exclude=paths)
    asked |= {role: one.revision for role, one in inputs.items()}
    lines = "\n".join(entry.model_dump_json(by_alias=True) for entry in entries)
    asked["earlier"] = hashlib.sha256(lines.encode()).hexdigest()[:12]
    made: Envelope[Advice] = envelope(
        "advise", result, asked, notes, seed=request.seed, inputs=inputs
    )
    if request.symptom == "came_round" and trouble:
        return made.model_copy(update={"cautions": [CAME_ROUND, *made.cautions]})
    return made
