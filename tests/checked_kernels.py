"""Kernels once more in a process of their own: bounds checked, and without the compiler."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np

TESTS = Path(__file__).resolve().parent


def answers(code: str, **environ: str) -> np.ndarray:
    """Numbers a script prints; it is handed the folder of the tests."""
    done = subprocess.run(
        [sys.executable, "-c", code, str(TESTS)],
        env=os.environ | environ,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return np.array([float(x) for x in done.stdout.split()])
