"""How long learn takes on twenty laps: under ten seconds, reading and fitting together."""

from __future__ import annotations

import csv
import os
import time
from importlib import resources
from pathlib import Path

import pytest

from foreaft.jobs.learn import learn
from foreaft.jobs.record import record
from foreaft.jobs.requests import LearnRequest, Quick, RecordRequest
from machine import slowness

QUICK = Quick(today=0.0, higher="front", first="together", lowest=-23.0, highest=23.0)
LAPS, DRIVEN = 20, 2
MOST_S = 10.0


def twenty_laps(folder: Path) -> Path:
    """Two laps driven, and read by the logger ten times over: time and laps count on."""
    circuit = resources.files("foreaft.data") / "demo" / "brackwater.csv"
    asked = RecordRequest(
        car="gt-mid",
        quick=QUICK,
        circuit=Path(str(circuit)),
        laps=DRIVEN,
        settings=[0.0],
        headings="names",
        units_in="none",
        seed=3,
    )
    made = Path(record(asked, folder).result.log)
    with made.open(newline="", encoding="utf-8") as file:
        head, *rows = list(csv.reader(file))
    clock = next(i for i, name in enumerate(head) if name.startswith("time"))
    lap = next(i for i, name in enumerate(head) if name.startswith("lap_count"))
    whole = float(rows[-1][clock]) + 0.01
    long = folder / "twenty.csv"
    with long.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(head)
        for turn in range(LAPS // DRIVEN):
            for row in rows:
                one = list(row)
                one[clock] = f"{float(row[clock]) + turn * whole:.3f}"
                if row[lap]:
                    one[lap] = f"{float(row[lap]) + turn * DRIVEN:g}"
                out.writerow(one)
    return long


@pytest.mark.timing
@pytest.mark.slow
def test_twenty_laps_take_less_than_ten_seconds(tmp_path: Path) -> None:
    log = twenty_laps(tmp_path)
    request = LearnRequest(logs=[log], car="gt-mid", quick=QUICK)
    begin, clock = time.process_time(), time.perf_counter()
    told = learn(request)
    spent, waited = time.process_time() - begin, time.perf_counter() - clock
    assert told.result.logs[0].brakings > LAPS * 5
    # Its own work, which a busy machine does not lengthen; threads of the matrices count each.
    assert spent < MOST_S * slowness(), (
        f"{spent:.1f} s of work, {waited:.1f} s on {os.cpu_count()} cores"
    )
