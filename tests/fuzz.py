"""Spoil files by the thousand and plan with them; tests/jobs/test_fuzz.py runs a few.

    python tests/fuzz.py --count 5000

Fails on any exception that is no ``ForeaftError``, on any number that is not finite in an answer,
and on anything that takes longer than ten seconds.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import faulthandler
import json
import math
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

from foreaft.base.errors import ForeaftError
from foreaft.cli import show
from foreaft.jobs.check import check
from foreaft.jobs.ideal_share import ideal
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import IdealRequest, PlanRequest, StopRequest
from foreaft.jobs.stop import stop
from foreaft.model.answers import Envelope
from jobs.mutants import FILES, Mutant, mutant

HANG_S = 10.0  # seconds of two cores, so that a busy machine is no failure


def not_finite(value: Any, at: str = "") -> Iterator[str]:
    """Where an answer holds a number that is not one."""
    if isinstance(value, float) and not math.isfinite(value):
        yield f"{at} = {value}"
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from not_finite(one, f"{at}.{key}")
    elif isinstance(value, list | tuple):
        for i, one in enumerate(value):
            yield from not_finite(one, f"{at}[{i}]")


def attempts(case: Mutant, folder: Path) -> dict[str, Callable[[], list[Envelope[Any]]]]:
    """Every job that reads these files."""
    for name, data in case.files.items():
        (folder / name).write_bytes(data)
    car, where = folder / "car.toml", folder / case.road
    wet = folder / "conditions.toml"
    road = {"sheet": where} if case.road == "sheet.csv" else {"circuit": where}
    request = PlanRequest(
        car=car, driver=folder / "driver.toml", conditions=[wet], samples=0, **road
    )
    brake = StopRequest(car=car, from_kmh=200.0, to_kmh=40.0, conditions=wet)
    states = IdealRequest(
        car=car, decel_g=[0.3, 1.2], lateral_g=[0.0, 0.9], speed_kmh=[60, 220], conditions=wet
    )
    found: dict[str, Callable[[], list[Envelope[Any]]]] = {
        "plan": lambda: list(plan(request)),
        "stop": lambda: [stop(brake)],
        "ideal": lambda: [ideal(states)],
    }
    return found | {f"check {name}": lambda name=name: [check(folder / name)] for name in FILES}


def one(number: int, folder: Path, tally: collections.Counter[str]) -> Iterator[str]:
    """What goes wrong with one mutant."""
    case = mutant(number)
    for job, work in attempts(case, folder).items():
        faulthandler.dump_traceback_later(6 * HANG_S, exit=True)
        start = time.process_time()
        try:
            answers = work()
            tally[f"{job.split()[0]} answered"] += 1
            for answer in answers:
                bad = list(not_finite(answer.model_dump()))
                if bad:
                    yield f"{case.what}: {job}: {', '.join(bad[:4])} ({len(bad)} in all)"
                if job == "plan":
                    show.plan(answer)
        except ForeaftError as error:
            tally[f"{job.split()[0]} {type(error).__name__}"] += 1
            json.dumps(error.as_dict(), allow_nan=False)
            if not (error.message and error.hint):
                yield f"{case.what}: {job}: an error without message or hint: {error!r}"
        except Exception:
            yield f"{case.what}: {job}: {traceback.format_exc()}"
        spent = (time.process_time() - start) / 2.0
        if spent > HANG_S:
            yield f"{case.what}: {job}: {spent:.1f} s"
    faulthandler.cancel_dump_traceback_later()


def main() -> int:
    """Run so many mutants from the first one on; print what went wrong and a tally."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=200)
    asked = parser.parse_args()
    warnings.simplefilter("error", RuntimeWarning)  # how NumPy says that a number is none
    tally: collections.Counter[str] = collections.Counter()
    failures = []
    with tempfile.TemporaryDirectory() as name:
        warm = Mutant("warm", mutant(0).files, "sheet.csv")  # compiling is no hang
        for work in attempts(warm, Path(name)).values():
            with contextlib.suppress(ForeaftError):
                work()
        for number in range(asked.first, asked.first + asked.count):
            for failure in one(number, Path(name), tally):
                failures.append(failure)
                print(failure, flush=True)
    print(json.dumps({"failures": len(failures), "tally": dict(sorted(tally.items()))}))
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
