"""A receiver's wander is followed; what the car does is not taken for it."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from foreaft.base.errors import CannotTell
from foreaft.laps.path import circuit_from, path_of
from foreaft.laps.series import Series, series_of
from foreaft.laps.session import look_at
from foreaft.laps.split import split
from foreaft.laps.wander import STEP_S, walk
from foreaft.logs.recording import Recording
from laps.driven import Driven, recording_of, session

COUNT = 1200
ROUND_S = 60.0


def wandering(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A first-order Gauss-Markov process, 1 m with a memory of 100 s, and a road going round."""
    random = np.random.default_rng(seed)
    keeps = np.exp(-STEP_S / 100.0)
    moved = np.zeros((COUNT, 2))
    moved[0] = random.standard_normal(2)
    for i in range(1, COUNT):
        moved[i] = keeps * moved[i - 1] + np.sqrt(1.0 - keeps**2) * random.standard_normal(2)
    heading = 2.0 * np.pi * STEP_S * np.arange(COUNT) / ROUND_S
    return moved, np.column_stack((-np.sin(heading), np.cos(heading)))


@pytest.mark.parametrize("seed", range(3))
def test_a_walk_is_found_across_and_along_the_road(seed: int) -> None:
    moved, normals = wandering(seed)
    line = 0.2 * np.random.default_rng(seed + 100).standard_normal(COUNT)
    found = walk(normals, (normals * moved).sum(axis=1) + line, np.ones(COUNT, dtype=bool))
    off = (found - moved)[20:-20]
    along = np.column_stack((normals[:, 1], -normals[:, 0]))[20:-20]
    assert np.std((off * normals[20:-20]).sum(axis=1)) < 0.3
    assert np.std((off * along).sum(axis=1)) < 0.8
    assert np.std(off) < 0.7 * np.std(moved)


def test_an_excursion_stays_one() -> None:
    moved, normals = wandering(7)
    beside = (normals * moved).sum(axis=1)
    out = slice(600, 606)  # 4 m for 3 s
    beside[out] += 4.0
    found = walk(normals, beside, np.ones(COUNT, dtype=bool))
    left = beside - (normals * found).sum(axis=1)
    assert left[out].min() > 2.5
    assert np.abs(left[590:598]).max() < 1.0


def elsewhere(driven: Driven, until_s: float = np.inf) -> Recording:
    """The session, or its beginning, in coordinates of its own."""
    got = {name: one.value for name, one in driven.recording.channels.items()}
    time = driven.recording["speed_mps"].time_s
    x, y = got["position_x_m"], got["position_y_m"]
    got["position_x_m"], got["position_y_m"] = 4000.0 - y, x - 900.0
    return recording_of({n: v[time < until_s] for n, v in got.items()}, time[time < until_s])


def test_a_session_without_a_whole_lap_lies_as_the_one_before_did() -> None:
    driven = session(3)
    series = series_of(driven.recording)
    path = path_of(series)
    lap = split(series, path).full[0]
    first, last = int(series.index(lap.start_s)), int(series.index(lap.end_s))
    circuit, _ = circuit_from(path, series, first, last)
    whole = look_at(elsewhere(driven), circuit)
    piece = elsewhere(driven, 0.6 * lap.duration_s)
    with pytest.raises(CannotTell):
        look_at(piece, circuit)
    found = look_at(piece, circuit, zones=whole.zones, like=whole)
    assert len(found.passes) >= 2
    for one in found.passes:
        same = next(p for p in whole.passes if p.zone_id == one.zone_id)
        assert found.placed.place(one.braking.start) == pytest.approx(
            whole.placed.place(same.braking.start), abs=2.0
        )
    light = found.light()
    assert light.rows == found.rows
    assert light.series.speed_mps is found.series.speed_mps  # its laps are drawn from it
    assert _samples(light.series) < 0.5 * _samples(found.series)
    assert light.series.index(5.0) == found.series.index(5.0)


def _samples(series: Series) -> int:
    """How many numbers a series holds."""
    every = (getattr(series, one.name) for one in fields(series))
    return sum(values.size for values in every if isinstance(values, np.ndarray))
