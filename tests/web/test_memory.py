"""Five minutes of sliders do not let the server grow."""

from __future__ import annotations

import os
import random
from pathlib import Path

import httpx
import pytest

from web.conftest import serving

PROC = Path("/proc")
CALLS = 300
"""Five minutes at one move a second."""

FIRST = 150
"""By then the desk is full, and the memory of its threads has found its size."""

MOST_MB = 5.0


def resident(pid: int) -> float:
    """Memory of a process that lies in RAM. [MB]"""
    pages = int((PROC / str(pid) / "statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


@pytest.mark.timing
@pytest.mark.slow
@pytest.mark.skipif(not PROC.is_dir(), reason="memory is read from /proc")
def test_moved_sliders_do_not_let_the_server_grow(tmp_path: Path) -> None:
    asked = {"car": "cars/halden-gt", "sheet": "sheets/eight-corners"}
    drawn = random.Random(1)

    def moved(http: httpx.Client) -> None:
        sliders = {
            "grip_scale": round(drawn.uniform(0.5, 1.1), 2),
            "fuel_kg": round(drawn.uniform(5, 60)),
            "scatter_scale": round(drawn.uniform(0.5, 2.0), 2),
            "changes": drawn.randrange(6),
        }
        answer = http.post("/api/live", json=asked | sliders)
        assert answer.status_code == 200, answer.text

    with (
        serving(tmp_path / "library") as served,
        httpx.Client(base_url=served.address, timeout=600) as http,
    ):
        for _ in range(FIRST):
            moved(http)
        before = resident(served.pid)
        for _ in range(CALLS):
            moved(http)
        grown = resident(served.pid) - before
    assert grown < MOST_MB, f"{grown:.1f} MB"
