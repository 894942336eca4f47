"""Events on driven logs no threshold was set by: a part of the blind block of `event_block`.

The whole of it: ``PYTHONPATH=tests python tests/laps/event_block.py --block blind --count 30``.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from laps.event_block import FIRST_SEED, KINDS, pooled

CASES = 10


@pytest.mark.slow
def test_events_of_the_blind_block_are_found_and_none_is_made_up(tmp_path: Path) -> None:
    """The bounds set for the product: 0.95 at 100 Hz, 0.90 at 25 Hz with noise.

    All told has to be at least nearly an event, and all that clearly is one has to be told; by
    the bare thresholds, which cut through what varies without a gap, all kinds together.
    """
    first = FIRST_SEED["blind"]
    total = pooled(range(first, first + CASES), tmp_path, workers=2)
    for hz, least in ((100, 0.95), (25, 0.90)):
        bare, band = total[hz]["all"], total[hz]["all, band"]
        assert bare.there >= 40
        assert min(band.precision, band.recall) >= least
        assert min(bare.precision, bare.recall) >= 0.90
        for kind in KINDS:
            assert total[hz][kind].there >= 5
            assert total[hz][f"{kind}, band"].precision >= least
