"""Logs driven for the events alone, with their truth, and how many of the events are found.

Cars, drivers, settings and pressing are drawn by seed; half of the cars are the demo's, half are
drawn from the classes; of the latter the debrief knows the class, not the car.
Thresholds may be set on the tuning block; the blind block is only judged by.
Usage: PYTHONPATH=tests python tests/laps/event_block.py --block blind --count 30
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from foreaft.drive import outcome, stint
from foreaft.drive.trace import NEAR_LIMIT
from foreaft.files import toml
from foreaft.files.classes import class_names, demo_folder
from foreaft.jobs.debrief import debrief
from foreaft.jobs.load import load_car
from foreaft.jobs.plan import plan
from foreaft.jobs.record import record
from foreaft.jobs.requests import DebriefRequest, PlanRequest, RecordRequest
from foreaft.jobs.stop import arrays_of
from foreaft.logs.truth import Event, Truth
from foreaft.model.conditions import Conditions
from foreaft.model.driver import PRESETS, Driver
from foreaft.model.fields import build
from learn.learn_coverage import prior_of, true_car

FIRST_SEED = {"tuning": 5_000, "blind": 110_000}
LAPS = 6
KINDS = ("lock_up", "rotation", "wide")

BANDS: dict[str, tuple[dict[str, float], dict[str, float]]] = {
    "rotation": ({"ROTATION_RAD": 0.14}, {"ROTATION_RAD": 0.20}),
    "wide": (
        {"WIDE_M": 1.0, "WIDE_S": 0.1, "ROTATION_RAD": 0.20, "SLIDING": NEAR_LIMIT},
        {"WIDE_M": 2.0, "WIDE_S": 0.5, "ROTATION_RAD": 0.14},
    ),
}
"""Thresholds of the truth, for what was nearly one and for what clearly was one.

Between the two a log cannot say which side of the threshold the car was on: places are good to
0.4 m, the slip of the rear axle to 0.01 to 0.02 rad, that of the front tyres to a tenth.
"""
SHIFTS = (-0.045, -0.03, -0.02, -0.01, 0.0, 0.02)
"""Front share against the plan's own setting: rather rearward, as that is where cars rotate."""

DEMO = Path(str(demo_folder()))
CIRCUIT = DEMO / "brackwater.csv"

APART_S = 0.35
"""A found event is the true one if they come this close: three samples of the coarsest sensor."""

COARSE = 4
"""Every fourth row of a table of 100 rows a second is what the logger writes at 25."""


@dataclass(frozen=True)
class Case:
    """One log at both rates, what is known of what drove it, and the truth."""

    seed: int
    car: Path
    """Of the demo the car; of the others their class."""
    driver: Path
    logs: dict[int, Path]
    truth: Truth
    nearly: list[Event]
    clearly: list[Event]
    words: str


@dataclass
class Counts:
    """Found events that are true, found, true events that were found, true."""

    right: int = 0
    found: int = 0
    seen: int = 0
    there: int = 0

    def __add__(self, other: Counts) -> Counts:
        return Counts(*(a + b for a, b in zip(self.all, other.all, strict=True)))

    @property
    def all(self) -> tuple[int, int, int, int]:
        return self.right, self.found, self.seen, self.there

    @property
    def precision(self) -> float:
        return self.right / self.found if self.found else np.nan

    @property
    def recall(self) -> float:
        return self.seen / self.there if self.there else np.nan


def driver_of(random: np.random.Generator) -> Driver:
    """A level, pressed harder and deeper than it usually does on half of the days."""
    level = str(random.choice(sorted(PRESETS)))
    data: dict[str, Any] = {"id": level, "name": level, "level": level}
    if random.random() < 0.5:
        data["boldness"] = float(random.choice([2.0, 4.0]))
        usual = PRESETS[level]
        data["brake_at_turn_in_frac"] = min(usual["brake_at_turn_in_frac"] + 0.25, 0.8)
        data["release_frac"] = min(usual["release_frac"] + 0.3, 1.0)
    return build(Driver, data)


def case_of(seed: int, folder: Path) -> Case:
    """Drive one case, or take what lies in the folder from the last time."""
    random = np.random.default_rng([seed, 77])
    car, driver = folder / f"{seed}-car.toml", folder / f"{seed}-driver.toml"
    names = class_names()
    if seed % 2 == 0:
        model, _ = load_car(DEMO / "car.toml")
        name, said = "demo", model
    else:
        name = names[seed // 2 % len(names)]
        said = prior_of(name)
        model = true_car(said, seed)
    man = driver_of(random)
    shift = float(random.choice(SHIFTS))
    words = f"{name}, {man.level}, boldness {man.boldness:g}, share {shift:+.3f}"
    made = folder / str(seed)
    if not made.exists():
        car.write_text(toml.dump(model), "utf-8")
        driver.write_text(toml.dump(man), "utf-8")
        road = {"car": car, "circuit": CIRCUIT, "driver": driver}
        lap = plan(PlanRequest(**road, samples=0))[0].result.lap_setting.setting
        arrays = arrays_of(model, Conditions())
        order = np.argsort(arrays.settings)
        settings, shares = arrays.settings[order], arrays.share[0][order]
        wanted = float(np.interp(lap, settings, shares)) + shift
        setting = float(settings[np.abs(shares - wanted).argmin()])
        asked = RecordRequest(**road, laps=LAPS, logger="full", seed=seed, settings=[setting])
        with judged() as laps:
            record(asked, made)
    log = next(one for one in made.iterdir() if one.suffix == ".csv")
    truth = Truth.model_validate_json((made / f"{log.name}.truth.json").read_bytes())
    bands = folder / f"{seed}-bands.json"
    if not bands.exists():
        bands.write_text(json.dumps(on_the_log_s_clock(laps, truth)), "utf-8")
    nearly, clearly = (
        [Event.model_validate(one) for one in many] for many in json.loads(bands.read_text("utf-8"))
    )
    coarse = folder / f"{seed}-25.csv"
    if not coarse.exists():
        head, *rows = log.read_text("utf-8").splitlines(keepends=True)
        first = next(i for i, row in enumerate(rows) if row[0].isdigit())
        coarse.write_text(head + "".join(rows[:first] + rows[first::COARSE]), "utf-8")
    known = folder / f"{seed}-known.toml"
    known.write_text(toml.dump(said), "utf-8")
    return Case(seed, known, driver, {100: log, 25: coarse}, truth, nearly, clearly, words)


@dataclass(frozen=True)
class Judged:
    """One driven lap, judged by the usual thresholds and by both ends of the bands."""

    start_s: float
    usual: list[tuple[str, float]]
    """Kind and place, by which the truth's lap is known again."""
    both: tuple[list[dict[str, Any]], list[dict[str, Any]]]


@contextmanager
def judged() -> Iterator[list[Judged]]:
    """Judge each driven lap by the bands as well; the list fills meanwhile."""
    judge, laps = stint.judge, list[Judged]()

    def wider(trace: Any, course: Any, status: int, stages: Any) -> Any:
        usual = judge(trace, course, status, stages)
        both: tuple[list[dict[str, Any]], list[dict[str, Any]]] = ([], [])
        for k, into in enumerate(both):
            into += [asdict(one) for one in usual.happenings if one.kind == "lock_up"]
            for kind, thresholds in BANDS.items():
                with pytest.MonkeyPatch.context() as patch:
                    for name, value in thresholds[k].items():
                        patch.setattr(outcome, name, value)
                    again = judge(trace, course, status, stages)
                into += [asdict(one) for one in again.happenings if one.kind == kind]
        laps.append(Judged(float(trace.time_s[0]), _places(usual.happenings), both))
        return usual

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stint, "judge", wider)
        yield laps


def _places(events: Iterable[Any]) -> list[tuple[str, float]]:
    return sorted((one.kind, round(one.s_m, 3)) for one in events)


def on_the_log_s_clock(laps: Sequence[Judged], truth: Truth) -> list[list[dict[str, Any]]]:
    """What was nearly, and what clearly, an event, on the clock of the truth's own events."""
    found: list[list[dict[str, Any]]] = [[], []]
    at = 0
    for lap in truth.laps:
        if at == len(laps) or laps[at].usual != _places(lap.events):
            assert not lap.events  # a lap without a zone is not judged
            continue
        moved = lap.start_s - laps[at].start_s
        for into, many in zip(found, laps[at].both, strict=True):
            into += [{**one, "start_s": one["start_s"] + moved} for one in many]
        at += 1
    assert at == len(laps)
    return found


def found_in(case: Case, hz: int) -> list[Any]:
    """Events the debrief tells, on the log's own clock."""
    asked = DebriefRequest(logs=[case.logs[hz]], car=case.car, circuit=CIRCUIT, driver=case.driver)
    result = debrief(asked).result
    starts = {run.run_id: run.start_s for run in result.runs}
    clock = {lap.lap_id: starts[lap.run_id] for lap in result.laps}
    return [
        one.model_copy(update={"start_s": one.start_s + clock[one.lap_id]}) for one in result.events
    ]


def matched(found: Sequence[Any], true: Iterable[Event], kind: str) -> Counts:
    """Count one kind; a locked wheel has to be the right one."""

    def same(one: Any, other: Event) -> bool:
        return (
            (kind != "lock_up" or one.wheel == other.wheel)
            and one.start_s - APART_S <= other.start_s + other.duration_s
            and other.start_s - APART_S <= one.start_s + one.duration_s
        )

    mine = [one for one in found if one.kind == kind]
    theirs = [one for one in true if one.kind == kind]
    return Counts(
        sum(any(same(one, other) for other in theirs) for one in mine),
        len(mine),
        sum(any(same(one, other) for one in mine) for other in theirs),
        len(theirs),
    )


def counted(case: Case, hz: int) -> dict[str, Counts]:
    """Counts of each kind in one log."""
    found = found_in(case, hz)
    true = [one for lap in case.truth.laps for one in lap.events]
    counts = {kind: matched(found, true, kind) for kind in KINDS}
    for kind in KINDS:
        near, clear = (matched(found, one, kind) for one in (case.nearly, case.clearly))
        counts[f"{kind}, band"] = Counts(near.right, near.found, clear.seen, clear.there)
    return counts


def _one(seed: int, folder: Path) -> tuple[int, str, dict[int, dict[str, Counts]] | None]:
    try:
        case = case_of(seed, folder)
        return seed, case.words, {hz: counted(case, hz) for hz in case.logs}
    except Exception as error:  # a case that cannot be driven or placed is told, and counted
        return seed, f"{type(error).__name__}: {error}", None


def pooled(
    seeds: Sequence[int], folder: Path, workers: int = 2, tell: bool = False
) -> dict[int, dict[str, Counts]]:
    """Drive and judge cases; counts by rate and kind, all kinds under "all"."""
    told = [f"{kind}{band}" for band in ("", ", band") for kind in (*KINDS, "all")]
    total = {hz: {kind: Counts() for kind in told} for hz in (100, 25)}
    left: Counter[str] = Counter()
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for seed, words, counts in pool.map(_one, seeds, [folder] * len(seeds)):
            if counts is None:
                left[words.partition(":")[0]] += 1
                print(f"{seed} left out: {words}") if tell else None
                continue
            for hz, kinds in counts.items():
                for kind, one in kinds.items():
                    total[hz][kind] += one
                    total[hz]["all" if kind in KINDS else "all, band"] += one
            if tell:
                short = {hz: [one.all for one in kinds.values()] for hz, kinds in counts.items()}
                print(seed, words, short, flush=True)
    assert sum(left.values()) <= 0.2 * len(seeds), left
    return total


def main() -> None:
    """Print precision and recall of a block."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--block", choices=sorted(FIRST_SEED), default="blind")
    parser.add_argument("--count", type=int, default=48)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder to keep the logs in")
    asked = parser.parse_args()
    first = FIRST_SEED[asked.block]
    with tempfile.TemporaryDirectory() as name:
        folder = asked.keep or Path(name)
        folder.mkdir(parents=True, exist_ok=True)
        total = pooled(range(first, first + asked.count), folder, asked.workers, tell=True)
    for hz, kinds in total.items():
        for kind, one in kinds.items():
            print(
                f"{hz:4} Hz  {kind:14} precision {one.precision:5.3f} ({one.right}/{one.found})  "
                f"recall {one.recall:5.3f} ({one.seen}/{one.there})"
            )


if __name__ == "__main__":
    main()
