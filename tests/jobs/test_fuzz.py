"""Two hundred spoilt sets of files: an answer in finite numbers, or an error meant for the user.

For five thousand: ``python tests/fuzz.py --count 5000`` (half an hour and more).
In a process of its own, so that a hang can be ended and told from where it came.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from jobs.mutants import mutant

PROGRAM = Path(__file__).resolve().parents[1] / "fuzz.py"


def fuzzed(first: int, count: int) -> dict[str, int]:
    """Run so many mutants; give the tally of what came back."""
    typed = [sys.executable, str(PROGRAM), "--first", str(first), "--count", str(count)]
    done = subprocess.run(typed, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    tally: dict[str, int] = json.loads(done.stdout.splitlines()[-1])["tally"]
    return tally


def test_a_few_spoilt_files() -> None:
    fuzzed(0, 14)


@pytest.mark.slow
def test_two_hundred_spoilt_files() -> None:
    tally = fuzzed(100, 200)
    # Were nearly all refused, nothing strange but valid would have been tried.
    assert tally["plan answered"] >= 60
    assert tally["plan InputError"] >= 20


def test_a_mutant_is_the_same_each_time() -> None:
    assert mutant(5) == mutant(5)
    assert mutant(5) != mutant(12)
