"""How long a day of laps takes, in processor time, so that neighbours do not matter."""

from __future__ import annotations

import time

import numpy as np
import pytest

from foreaft.files.classes import load_class
from foreaft.jobs.situation import nominal
from foreaft.laps.session import CarSide, look_at
from foreaft.model.conditions import Conditions
from laps.driven import recording_of, session


@pytest.mark.slow
@pytest.mark.timing
def test_a_hundred_laps_take_seconds() -> None:
    """The target set: 100 laps of 100 s at 100 Hz under 3 s on two cores, so 6 s of processor."""
    driven = session(20)
    names = driven.recording.channels
    count = len(names["speed_mps"].time_s)
    times = round(1_000_000 / count)
    values = {name: np.tile(one.value, times) for name, one in names.items()}
    values["lap_count"] += 20.0 * np.repeat(np.arange(times), count)
    recording = recording_of(values, np.arange(count * times) / 100.0)
    vector, table = nominal(load_class("gt-mid"), Conditions())
    car = CarSide(vector, table, lambda s: np.full(len(s), np.nan), 0.65)
    look_at(driven.recording, car=car)  # compiled now
    start = time.process_time()
    found = look_at(recording, car=car)
    spent = time.process_time() - start
    assert len(found.series.time_s) > 900_000
    assert len(found.passes) > 600
    assert found.use_front is not None
    assert np.isfinite(found.use_front).mean() > 0.99
    assert spent < 6.0
