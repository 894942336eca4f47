"""Five minutes of sliders do not let the server grow."""

from __future__ import annotations

import gc
import os
import random
from pathlib import Path

import pytest
from starlette.testclient import TestClient

PAGE = os.sysconf("SC_PAGE_SIZE") if hasattr(os, "sysconf") else 4096
CALLS = 500
MOST_MB = 5.0


def resident() -> float:
    """Memory of this process that lies in RAM."""
    gc.collect()
    return int(Path("/proc/self/statm").read_text().split()[1]) * PAGE / 2**20


@pytest.mark.timing
@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is read from /proc")
def test_moved_sliders_do_not_let_the_server_grow(client: TestClient) -> None:
    asked = {"car": "cars/halden-gt", "sheet": "sheets/eight-corners"}
    drawn = random.Random(1)

    def moved() -> None:
        sliders = {
            "grip_scale": round(drawn.uniform(0.5, 1.1), 2),
            "fuel_kg": round(drawn.uniform(5, 60)),
            "scatter_scale": round(drawn.uniform(0.5, 2.0), 2),
            "changes": drawn.randrange(6),
        }
        answer = client.post("/api/live", json=asked | sliders)
        assert answer.status_code == 200, answer.text

    for _ in range(100):  # what the desk keeps is full by then
        moved()
    before = resident()
    for _ in range(CALLS):
        moved()
    assert resident() - before < MOST_MB
