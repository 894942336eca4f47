"""Cars and drivers of known truth, their logs by the car in motion, and how often learn is right.

The truth is drawn from the ranges of a class of car: the fit knows the class, not the car.
The logs come from the transient car with a full logger, the fit is quasi-steady.
Usage: python tests/learn/learn_coverage.py --count 400
and for driven laps: python tests/learn/learn_coverage.py --laps --count 40
"""

from __future__ import annotations

import argparse
import os
from collections import defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from importlib import resources
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import binomtest

from foreaft.base.errors import ForeaftError
from foreaft.drive import channels as ch
from foreaft.files.classes import class_names, load_class
from foreaft.jobs.common import Notes, never, silent
from foreaft.jobs.load import anchored
from foreaft.jobs.record_drive import Driven, drive_laps, drive_stops
from foreaft.jobs.requests import Quick, RecordRequest, ZonesRequest
from foreaft.jobs.zones import zones
from foreaft.laps.series import series_of
from foreaft.learn import car as lc
from foreaft.learn import crossover as cr
from foreaft.learn import foot
from foreaft.learn import straight as st
from foreaft.learn.observe import observe, together
from foreaft.learn.verdict import judge
from foreaft.logs.instruments import LOGGERS, Log, measure
from foreaft.logs.recording import Channel, Recording
from foreaft.model.car import Car, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.model.fields import build, plain
from foreaft.physics import layout as at
from foreaft.physics.motion import crossover_share

QUICK = Quick(today=0.0, higher="front", first="together")
FIRST_SEED = 800_000
FIRST_OF_LAPS = 700_000
"""Seeds below belong to calibration, see docs/theory/learn.md."""

CURVE_SD = 0.06
"""True tyres rise to their peak along another curve than the fit's: they slip by this part more or
less at the same use. Docs/theory/tyre.md has 0.13 between the curve and a published set."""

LAPS_EACH = 5
CIRCUIT = Path(str(resources.files("foreaft.data") / "demo" / "brackwater.csv"))
LEVELS = ("novice", "club", "pro")


@dataclass(frozen=True)
class Case:
    """One car, driver and log of known truth."""

    prior: Car
    truth: Car
    numbers: dict[str, float]
    settings: tuple[float, ...]
    recording: Recording
    others: tuple[Recording, ...] = ()
    """Further sessions: a car that has left the road begins anew."""


def prior_of(name: str) -> Car:
    """The class with its adjuster counted from the middle; learn does not read the anchor."""
    return anchored(load_class(name), QUICK)


def put(data: Any, key: str, value: Any) -> None:
    """Put a value at a dotted key."""
    *path, last = key.split(".")
    for part in path:
        data = data[int(part) - 1] if part.isdecimal() else data.setdefault(part, {})
    data[last] = value


def true_car(prior: Car, seed: int) -> Car:
    """One car of the class, its tyres stiffer at one end than at the other."""
    data = plain(prior)
    drawn = draw(prior, seed, 1)
    for key, column in drawn.items():
        put(data, key, float(column[1]))
    adjuster = prior.adjuster
    assert adjuster is not None
    shares = vectors(prior, drawn, Conditions()).share[1]
    data["adjuster"]["known"] = [
        {"setting": setting, "front_share_frac": float(share)}
        for setting, share in ((adjuster.min, shares[0]), (adjuster.max, shares[-1]))
    ]
    del data["adjuster"]["share_per_unit_frac"]
    rng = np.random.default_rng([seed, 1])
    q = 0.05 * float(rng.standard_normal())
    curve = CURVE_SD * float(rng.standard_normal())
    peak = float(drawn["tyre.peak_slip_frac"][1] * np.exp(curve))
    put(data, "tyre.front.peak_slip_frac", peak * float(np.exp(-0.5 * q)))
    put(data, "tyre.rear.peak_slip_frac", peak * float(np.exp(0.5 * q)))
    return build(Car, data)


def case_of(seed: int, ends: bool | None = None, stops: int | None = None) -> Case:
    """Draw and drive one case; short logs of four to twelve stops."""
    rng = np.random.default_rng([seed, 2])
    prior = prior_of(class_names()[seed % len(class_names())])
    truth = true_car(prior, seed)
    adjuster = prior.adjuster
    assert adjuster is not None
    whole = bool(rng.random() < 0.7) if ends is None else ends
    reach = 1.0 if whole else float(rng.choice([0.0, 0.5]))
    half = adjuster.step * round(reach * 0.5 * (adjuster.max - adjuster.min) / adjuster.step)
    middle = 0.5 * (adjuster.max + adjuster.min)
    settings = sorted({middle - half, middle + half})
    settings = [float(adjuster.settings[np.abs(adjuster.settings - s).argmin()]) for s in settings]
    level = LEVELS[int(rng.integers(3))]
    request = RecordRequest(
        car="class",
        stops=int(rng.integers(2, 4)) if stops is None else stops,
        settings=settings,
        effort=[0.55, 0.75] if rng.random() < 0.5 else [0.7],
        from_kmh=float(rng.choice([130.0, 150.0, 180.0])),
        to_kmh=50.0,
        seed=seed,
    )
    driver = build(Driver, {"id": level, "name": level, "level": level})
    driven = drive_stops(request, truth, driver, Conditions(), 200, Notes(), silent, never)
    return _measured(driven, prior, truth, driver, settings, (seed, rng))


def lap_case_of(seed: int) -> Case:
    """Draw and drive one case of five laps at each of two settings, with another driver each."""
    rng = np.random.default_rng([seed, 2])
    prior = prior_of(class_names()[seed % len(class_names())])
    truth = true_car(prior, seed)
    adjuster = prior.adjuster
    assert adjuster is not None
    # Nobody laps at the ends of an adjuster: a quarter of the way to each side of the middle.
    places = np.quantile(adjuster.settings, [0.375, 0.625])
    settings = [float(adjuster.settings[np.abs(adjuster.settings - s).argmin()]) for s in places]
    request = RecordRequest(
        car="class", circuit=CIRCUIT, laps=LAPS_EACH, settings=settings, seed=seed
    )
    level = LEVELS[int(rng.integers(3))]
    driver = build(Driver, {"id": level, "name": level, "level": level})
    driven = drive_laps(request, truth, driver, Conditions(), 200, Notes(), silent, never)
    case = _measured(driven, prior, truth, driver, settings, (seed, rng))
    case.numbers["driver.depth_frac"] = true_depth(driven)
    return case


def true_depth(driven: Driven) -> float:
    """Mean over zones of where the brake was let go: 0 at the circuit's turn-in, 1 at its apex.

    The turn-in is that of the road's curvature; the plan has a driver turn in later in long bends.
    """
    circuit = zones(ZonesRequest(car="gt-mid", circuit=CIRCUIT)).result
    turning = {
        one.zone_id: (one.apex_s_m - one.turn_in_s_m) % circuit.circuit.length_m
        for one in circuit.zones
        if one.apex_s_m is not None and one.turn_in_s_m is not None
    }
    deep: dict[str, list[float]] = defaultdict(list)
    for lap in (lap for run in driven.runs for lap in run.laps if lap.complete):
        for one in lap.passes:
            name, release = one.passed.zone_id, one.release_s_m
            if name is not None and release is not None:
                left = (one.passed.apex_s_m - release) / turning[name]
                deep[name].append(max(1.0 - left, 0.0))
    return float(np.mean([np.mean(rows) for rows in deep.values()])) if deep else float("nan")


def _measured(
    driven: Driven,
    prior: Car,
    truth: Car,
    driver: Driver,
    settings: Sequence[float],
    chance: tuple[int, np.random.Generator],
) -> Case:
    """Lay the full logger's sensors onto what was driven, with gains of the lines of their own."""
    seed, rng = chance
    fit = ch.fitting_of(driven.car, driven.vehicle.vector)
    rear = float(np.exp(0.4 * rng.standard_normal()))
    front = float(np.exp(0.4 * rng.standard_normal()))
    fit = replace(
        fit,
        gain_front_N_per_Pa=fit.gain_front_N_per_Pa * front,
        gain_rear_N_per_Pa=fit.gain_rear_N_per_Pa * rear,
    )
    runs = [ch.channels_of(one.trace, one.share, one.lap, fit) for one in driven.runs]
    vector = driven.vehicle.vector
    numbers = {key: float(column[1]) for key, column in draw(prior, seed, 1).items()}
    numbers["driver.pedal_scatter_frac"] = driver.hold_sd_frac
    numbers["height_per_wheelbase"] = float(vector[at.CG_HEIGHT] / vector[at.WHEELBASE])
    numbers["gain_front_N_per_Pa"] = fit.gain_front_N_per_Pa
    numbers["gain_rear_N_per_Pa"] = fit.gain_rear_N_per_Pa
    for s, share in zip(driven.settings, driven.shares, strict=True):
        numbers[f"force_share_frac@{s:g}"] = float(share)
        numbers[f"decel_per_front_pressure_mps2_per_Pa@{s:g}"] = float(
            fit.gain_front_N_per_Pa / share / vector[at.MASS]
        )
    log = measure(runs, LOGGERS["full"], seed)
    first, *others = (recording_of(log, k) for k in range(len(log.sessions)))
    return Case(prior, truth, numbers, tuple(settings), first, tuple(others))


def recording_of(log: Log, session: int = 0) -> Recording:
    """A measured session as a recording, without a file between."""
    channels = {}
    for one in log.sessions[session].samples:
        time, value = one.time_s, one.value
        if one.held:  # as a table holds it: again and again
            time = np.arange(0.0, log.sessions[session].duration_s, 0.05)
            value = one.value[np.maximum(np.searchsorted(one.time_s, time, side="right") - 1, 0)]
        channels[one.name] = Channel(one.name, one.name, one.unit, time, value, "used")
    return Recording(f"made-{session}", "0" * 64, "made.csv", 1, 1, 0.0, channels)


def true_crossover(case: Case, decel_mps2: float, speed_mps: float) -> float:
    """Setting at which both axles of the true car slip alike, by its settled state."""
    made = vectors(case.truth, draw(case.truth, 0, 0), Conditions())
    far = np.linspace(-300.0, 300.0, 6001)
    share = np.interp(far, made.settings, made.share[0])
    slope = np.polyfit(made.settings, made.share[0], 1)
    share = np.where(np.abs(far) > made.settings.max(), np.polyval(slope, far), share)
    share = np.clip(share, 0.0, 1.0)
    same = np.ones(len(far))
    when = st.Moments(speed_mps * same, decel_mps2 * same, same > 0.0, share)
    front, rear = st.settled(made.vector[0], made.table[0], when)
    return float(np.interp(0.0, front - rear, far))


def true_lock(case: Case, speed_mps: float) -> float:
    """Setting at which both ends of the true car lock together; straight on past the adjuster."""
    made = vectors(case.truth, draw(case.truth, 0, 0), Conditions())
    slope, level = np.polyfit(made.settings, made.share[0], 1)
    even = crossover_share(made.vector[0], made.table[0], speed_mps)
    if made.share[0].min() <= even <= made.share[0].max():
        return float(np.interp(even, made.share[0], made.settings))
    return float((even - level) / slope)


def learnt_of_laps(seed: int) -> list[tuple[str, str, float, float, float, float]]:
    """As `learnt`, of driven laps; nothing where this car cannot lap at all."""
    try:
        return told_of(lap_case_of(seed), seed)
    except ForeaftError as error:
        return [(f"not driven: {error}"[:42], "left out", 0.0, 0.0, 0.0, 0.0)]


def learnt(seed: int) -> list[tuple[str, str, float, float, float, float]]:
    """Key, verdict, truth, low, high and estimate of everything told of one case of stops."""
    return told_of(case_of(seed), seed)


def told_of(case: Case, seed: int) -> list[tuple[str, str, float, float, float, float]]:
    """Key, verdict, truth, low, high and estimate of everything told of one case."""
    every = [(one, series_of(one)) for one in (case.recording, *case.others)]
    seen = together([observe(series, log=k) for k, (_, series) in enumerate(every)])
    what = lc.known(case.prior, Conditions(), None, seed)
    found = lc.fitted(seen, what, seed)
    feet = [foot.repeats(*one) for one in every]
    depths = [row for one in feet for row in one[1]]
    out = []
    ratio = lc.ratio_of(seen, what)
    shown = None if ratio is None else cr.crossover(seen, ratio)
    if shown is not None:
        place = lc.crossover_of(what, found, shown)
        place = lc.of_laps(place) if depths else place
        true = true_crossover(case, place.decel_mps2, place.speed_mps)
        verdict = "learned" if place.inside else "drawn on"
        sd = (place.high - place.low) / 3.29
        error = (place.setting - true) / sd
        out.append(("crossover", verdict, true, place.low, place.high, error))
        lock = lc.lock_crossover(what, found, place)
        if lock is not None:
            true, sd = true_lock(case, lock.speed_mps), (lock.high - lock.low) / 3.29
            error = (lock.setting - true) / sd
            out.append(("lock crossover", "learned", true, lock.low, lock.high, error))
    for column in lc.columns_of(seen, what, found):
        one = judge(column, seen.firm)
        key = one.key if one.setting is None else f"{one.key}@{one.setting:g}"
        known = case.numbers.get(key)
        if known is None or one.low is None or one.high is None or one.estimate is None:
            continue
        sd = float(np.std(column.now))
        error = (one.estimate - known) / sd
        out.append((one.key, one.verdict, known, one.low, one.high, error))
    scatter = foot.scatter_of_laps if depths else foot.scatter
    for key, told in (
        ("driver.pedal_scatter_frac", scatter([row for one in feet for row in one[0]])),
        ("driver.depth_frac", foot.depth(depths)),
    ):
        if told is not None and key in case.numbers:
            true, sd = case.numbers[key], (told.high - told.low) / 3.29
            out.append((key, "told", true, told.low, told.high, (told.value - true) / sd))
    return out


def many(
    seeds: Iterable[int], workers: int = 2, laps: bool = False
) -> dict[tuple[str, str], list[tuple[float, ...]]]:
    """Truth, low, high and error over sd by key and verdict."""
    found: dict[tuple[str, str], list[tuple[float, ...]]] = defaultdict(list)
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for rows in pool.map(learnt_of_laps if laps else learnt, seeds, chunksize=4):
            for key, verdict, *rest in rows:
                found[key, verdict].append(tuple(rest))
    return found


def main() -> None:
    """Print how often the intervals hold the truth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--laps", action="store_true", help="driven laps instead of stops")
    parser.add_argument("--first", type=int)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # of the workers: the matrices are small
    first = asked.first or (FIRST_OF_LAPS if asked.laps else FIRST_SEED)
    found = many(range(first, first + asked.count), asked.workers, asked.laps)
    print(f"{'number':42s} {'verdict':14s} n, held, 90 % of that part, error/sd, median width")
    for (key, verdict), rows in sorted(found.items(), key=lambda one: (one[0][1], one[0][0])):
        table = np.array(rows)
        held = int(np.sum((table[:, 1] <= table[:, 0]) & (table[:, 0] <= table[:, 2])))
        sure = binomtest(held, len(rows)).proportion_ci(0.9)
        width = float(np.median(table[:, 2] - table[:, 1]))
        error = float(np.sqrt(np.mean(table[:, 3] ** 2)))
        part = f"{held / len(rows):6.3f} ({sure.low:.3f} to {sure.high:.3f})"
        print(f"{key:42s} {verdict:14s} {len(rows):5d} {part} {error:6.2f} {width:9.3g}")


if __name__ == "__main__":
    main()
