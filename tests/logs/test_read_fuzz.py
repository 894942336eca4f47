"""Two hundred spoilt logs; ``python tests/logs/fuzz_logs.py --count 2000`` reads the rest."""

from __future__ import annotations

import pytest

from logs import fuzz_logs


@pytest.mark.slow
def test_spoilt_logs_end_with_a_recording_or_a_reason() -> None:
    failures, tally, peak_kb = fuzz_logs.run(0, 200)
    assert not failures
    assert sum(tally.values()) == 200
    assert tally["read"] > 20, "hardly any is read: the mutants are too far from logs"
    assert tally["log_damaged"] > 5, "hardly any is damaged: the mutants are too near to logs"
    assert peak_kb * 1024 < fuzz_logs.MEMORY_BYTES


@pytest.mark.parametrize("number", [359, 1876])
def test_a_clock_with_an_infinite_time_is_read_or_refused(number: int) -> None:
    """Both hold 1e999 among their times; neither belongs to the two hundred above."""
    failures, tally, _ = fuzz_logs.run(number, 1)
    assert not failures
    assert sum(tally.values()) == 1


def test_mutants_are_the_same_every_time() -> None:
    assert fuzz_logs.mutant(17) == fuzz_logs.mutant(17)
