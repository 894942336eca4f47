"""How long the commands take from nothing, how much memory the demo needs, how big it all is.

Run: ``python benchmarks/cold.py``.
Every command is a process of its own; its time is compared with that of a Python that does
nothing, and judged by how long the libraries alone take to load just then.
A child's peak memory is never told below this script's own, which therefore loads no library.
"""

from __future__ import annotations

import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from machine import slow_to_start

DEMO = Path(__file__).resolve().parents[1] / "src" / "foreaft" / "data" / "demo"
CIRCUIT = DEMO / "brackwater.csv"
MEGA = 1e6


def run(arguments: list[str], cache: Path | None = None) -> tuple[float, float]:
    """Run a command to its end; return time [s] and peak memory [MB]."""
    environ = dict(os.environ) | ({} if cache is None else {"FOREAFT_CACHE": str(cache)})
    began = time.perf_counter()
    process = subprocess.Popen(
        arguments, env=environ, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    said = process.stderr.read() if process.stderr else b""
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(arguments)} failed: {said.decode()}")
    return time.perf_counter() - began, usage.ru_maxrss * 1024 / MEGA


def show(name: str, arguments: list[str], target_s: float, repeats: int = 3) -> float:
    """Print and return the least time of a command, and its peak memory. [s]"""
    runs = [run(arguments) for _ in range(repeats)]
    least, middle = min(t for t, _ in runs), statistics.median(t for t, _ in runs)
    print(
        f"  {name:34}least {least:6.2f} s, median {middle:6.2f} s, target {target_s:g} s, "
        f"peak {max(m for _, m in runs):4.0f} MB"
    )
    return least / target_s


def installed_mb() -> float:
    """Return the size of everything installed beside Python itself, test tools included. [MB]"""
    place = Path(sys.prefix) / "lib"
    return sum(f.stat().st_size for f in place.rglob("*") if f.is_file()) / MEGA


def main() -> None:
    """Measure and print; exit with 1 where twice a target is not met."""
    print(f"Python {platform.python_version()}, {platform.machine()}")
    foreaft = [sys.executable, "-m", "foreaft.cli"]
    plan = [*foreaft, "plan", "--car", str(DEMO / "car.toml"), "--circuit", str(CIRCUIT), "--json"]
    print("commands, each a process of its own")
    run(plan)  # compiled kernels are on disk from here on
    show("python that does nothing", [sys.executable, "-c", "pass"], 0.15)
    worst = [
        show("foreaft --help", [*foreaft, "--help"], 0.15),
        show("plan, no samples", [*plan, "--samples", "0"], 2.0),
        show("plan, 64 samples", [*plan, "--samples", "64"], 5.0, repeats=1),
    ]
    with tempfile.TemporaryDirectory() as folder:
        first, _ = run([*plan, "--samples", "0"], Path(folder))
    print(f"  {'the very first plan, compiling':34}once  {first:6.2f} s, target 30 s")
    with tempfile.TemporaryDirectory() as folder:
        seconds, peak = run([*foreaft, "demo", "--out", folder])
    print(f"  {'demo':34}once  {seconds:6.2f} s, peak {peak:4.0f} MB, target 350 MB")
    print(f"installed, test tools included: {installed_mb():.0f} MB (target 800 MB)")
    slow = slow_to_start()
    print(f"loading libraries takes {slow:.1f} times as long as on a quiet machine")
    if max(first / 30.0, *worst) > 2.0 * slow or peak > 2.0 * 350.0:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
