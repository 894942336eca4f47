"""The benchmarks run, and fail where twice a target is missed or answers differ.

What was measured, and what misses its target, stands in docs/performance.md.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).resolve().parents[2] / "benchmarks"


def run(name: str) -> subprocess.CompletedProcess[str]:
    """One benchmark, with what it printed."""
    return subprocess.run(
        [sys.executable, str(BENCHMARKS / f"{name}.py")],
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )


@pytest.mark.timing
@pytest.mark.slow
@pytest.mark.parametrize("name", ["lap", "plan", "transient", "read", "cold"])
def test_twice_the_target_is_met(name: str) -> None:
    done = run(name)
    if done.returncode != 0:  # somebody else may have needed the machine: once more
        done = run(name)
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
