"""How long a log takes to be read, checked and cleaned, against the bare call of its library.

Run: ``python benchmarks/read.py``.
An invented log of one hour, sixty channels at 100 Hz, in three formats; MDF in six groups.
Each reading is a process of its own that has read a small log before, so that loading libraries
does not count, neither for the bare call nor for the child that opens MDF files; what loading
takes is told beside, and for MDF the ratio with it on both sides as well: the first log of a day.
Processor time, children included, is compared: other work on the machine does not lengthen it.
Memory is the peak of the reader or of its child above what either needs for a small log, over the
172.8 MB of numbers.
"""

from __future__ import annotations

import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

RATE_HZ = 100
SECONDS = 3600
CHANNELS = 60
TARGET_RATIO = 2.5
TARGET_MEMORY = 3.0
REPEATS = 3


def columns(seconds: int) -> dict[str, np.ndarray]:
    """Give channels that agree with each other, and dampers to fill up, as a logger rounds them."""
    rng = np.random.default_rng(1)
    t = np.arange(seconds * RATE_HZ) / RATE_HZ
    v = 40.0 + 25.0 * np.sin(2.0 * np.pi * t / 90.0)
    ax, r = np.gradient(v, 1.0 / RATE_HZ), 0.3 * np.sin(2.0 * np.pi * t / 45.0)
    made = {
        "Time [s]": t,
        "Speed [km/h]": 3.6 * v,
        "Distance [m]": np.cumsum(v) / RATE_HZ,
        "G Long [g]": ax / 9.80665,
        "G Lat [g]": v * r / 9.80665,
        "Yaw Rate [deg/s]": np.degrees(r),
        "Throttle [%]": 100.0 * (ax > 0.0),
        "Brake Pressure Front [bar]": 12.0 * np.maximum(-ax, 0.0),
        "Brake Pressure Rear [bar]": 5.0 * np.maximum(-ax, 0.0),
        "Steering Wheel Angle [deg]": 3.0 * np.degrees(r),
        "Engine Speed [rpm]": 100.0 * v,
        "Gear": np.round(v / 12.0),
        "Lap": np.floor(t / 90.0),
    }
    for wheel in ("FL", "FR", "RL", "RR"):
        made[f"Wheel Speed {wheel} [km/h]"] = 3.6 * v + rng.normal(0.0, 0.1, len(t))
    for i in range(CHANNELS - len(made)):
        made[f"Damper {i} [mm]"] = np.cumsum(rng.normal(size=len(t)))
    return {name: np.round(values, 3) for name, values in made.items()}


def write(folder: Path, stem: str, seconds: int) -> None:
    """Write the log in three formats."""
    import polars as pl
    from asammdf import MDF, Signal

    made = columns(seconds)
    frame = pl.DataFrame(made)
    frame.write_csv(folder / f"{stem}.csv")
    frame.write_parquet(folder / f"{stem}.parquet")
    t = made.pop("Time [s]")
    names = list(made)
    with MDF(version="4.10") as mdf:
        for part in np.array_split(np.arange(len(names)), 6):
            signals = []
            for i in part:
                name, _, unit = names[i].partition(" [")
                signals.append(Signal(made[names[i]], t, unit=unit.rstrip("]"), name=name))
            mdf.append(signals)
        mdf.save(folder / f"{stem}.mf4", overwrite=True)


def bare(file: Path) -> object:
    """The bare call of the library."""
    import polars as pl

    if file.suffix == ".csv":
        return pl.read_csv(file)
    if file.suffix == ".parquet":
        return pl.read_parquet(file)
    from asammdf import MDF

    with MDF(file) as mdf:
        places = [
            (None, g, i)
            for g, group in enumerate(mdf.groups)
            for i in range(1, len(group.channels))
        ]
        return mdf.select(places)


def ours(file: Path) -> object:
    """Read, checked and cleaned."""
    from foreaft.logs.read import read_log

    return read_log(file)


WAYS: dict[str, Callable[[Path], object]] = {"bare": bare, "ours": ours}


def processor_s() -> float:
    """Processor time of this process and of its children so far. [s]"""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def peaks() -> tuple[int, int]:
    """Peak memory of this process and of its children so far. [kB]"""
    return (
        resource.getrusage(resource.RUSAGE_SELF).ru_maxrss,
        resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss,
    )


def ended() -> None:
    """End the child that waits for another MDF file: only then is its time counted."""
    from foreaft.logs.mdf_reader import end_waiting

    end_waiting()


def spent_on(way: str, *files: Path) -> float:
    """Processor time of reading some logs one after the other, from a new child on. [s]"""
    began = processor_s()
    for file in files:
        WAYS[way](file)
    ended()
    return processor_s() - began


def measure(way: str, file: Path, small: Path) -> None:
    """Read a small log, then the large one; print time and memory of the latter as JSON."""
    import polars  # noqa: F401  of both ways

    ended()  # what it imports is of neither
    first = spent_on(way, small)
    start = spent_on(way, small)  # of a child and of a small log; little without a child
    twice = spent_on(way, small, small)
    before, clock = peaks(), time.perf_counter()
    both = spent_on(way, small, file)
    clock = time.perf_counter() - clock
    grown = max(after - old for after, old in zip(peaks(), before, strict=True))
    # The bare call loads the library with its first log, ours in each child.
    load = first - start if way == "bare" else 2.0 * start - twice
    told = {"s": both - start, "load_s": load, "clock_s": clock, "MB": grown * 1024 / 1e6}
    print(json.dumps(told))


def run(way: str, file: Path, small: Path) -> dict[str, float]:
    """Measure in a process of its own."""
    command = [sys.executable, __file__, way, str(file), str(small)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    told: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return told


def show(
    kind: str, bare: list[dict[str, float]], ours: list[dict[str, float]]
) -> tuple[float, float]:
    """Print one format; return time and memory over their targets."""
    numbers_mb = CHANNELS * RATE_HZ * SECONDS * 8 / 1e6

    def least(runs: list[dict[str, float]], what: str) -> float:
        return min(one[what] for one in runs)

    ratio = least(ours, "s") / least(bare, "s")
    middle = statistics.median(one["s"] for one in ours) / statistics.median(
        one["s"] for one in bare
    )
    first = [min(one["s"] + one["load_s"] for one in runs) for runs in (bare, ours)]
    memory = [max(one["MB"] for one in runs) / numbers_mb for runs in (bare, ours)]
    print(
        f"  {kind:8}processor: bare {least(bare, 's'):5.2f} s, read and cleaned "
        f"{least(ours, 's'):5.2f} s; ratio {ratio:4.2f} (of medians {middle:4.2f}), "
        f"target {TARGET_RATIO}\n"
        f"          with loading the library: {first[0]:5.2f} and {first[1]:5.2f} s, "
        f"ratio {first[1] / first[0]:4.2f}\n"
        f"          memory {memory[1]:4.2f} times the numbers (bare {memory[0]:4.2f}), "
        f"target {TARGET_MEMORY:g}; on the clock {least(bare, 'clock_s'):5.2f} and "
        f"{least(ours, 'clock_s'):5.2f} s with a start of each",
        flush=True,
    )
    return ratio / TARGET_RATIO, memory[1] / TARGET_MEMORY


def main() -> None:
    """Measure and print; exit with 1 where twice a target is not met."""
    worst: list[float] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # In a process of its own: a child's peak is never told below its parent's.
        subprocess.run([sys.executable, __file__, str(folder)], check=True)
        for kind in ("csv", "parquet", "mf4"):
            file, small = folder / f"large.{kind}", folder / f"small.{kind}"
            runs: dict[str, list[dict[str, float]]] = {way: [] for way in WAYS}
            for _ in range(REPEATS):  # in turn, so that other work meets both
                for way, found in runs.items():
                    found.append(run(way, file, small))
            worst += show(kind, runs["bare"], runs["ours"])
    if max(worst) > 2.0:
        raise SystemExit(1)


if __name__ == "__main__":
    if len(sys.argv) == 4:
        measure(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]))
    elif len(sys.argv) == 2:
        write(Path(sys.argv[1]), "small", 20)
        write(Path(sys.argv[1]), "large", SECONDS)
    else:
        main()
