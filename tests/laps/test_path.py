"""Where the car was: paths, their closure, the circuit made from a lap, places without position."""

from __future__ import annotations

import numpy as np
import pytest

from foreaft.base.errors import CannotTell
from foreaft.laps.path import (
    circuit_from,
    closure,
    follow,
    lies_on,
    path_of,
    phase,
    register,
)
from foreaft.laps.series import series_of
from foreaft.laps.split import Gate, split
from laps.driven import Driven, session, without

POSITION = ("position_x_m", "position_y_m")


@pytest.fixture(scope="module")
def driven() -> Driven:
    return session(3, noise=0.3)


def lap_of(driven: Driven, recording):
    series = series_of(recording)
    path = path_of(series)
    lap = split(series, path, by="counter").full[0]
    return series, path, int(series.index(lap.start_s)), int(series.index(lap.end_s))


@pytest.mark.parametrize("dropped", [(), POSITION, (*POSITION, "yaw_rate_radps")])
def test_a_circuit_is_made_from_a_lap(driven: Driven, dropped: tuple[str, ...]) -> None:
    """From position; from speed and yaw rate; from speed and lateral acceleration."""
    series, path, first, last = lap_of(driven, without(driven, *dropped))
    stations, gap = circuit_from(path, series, first, last)
    assert path.drawn == bool(dropped)
    assert stations.length_m == pytest.approx(driven.road.length, rel=0.003)
    assert gap.gap_m < 0.005 * gap.length_m  # usual for drawn paths; noise of position is less
    tightest = 1.0 / np.abs(stations.curvature_1pm).max()
    assert tightest == pytest.approx(25.0, rel=0.2)


def test_the_gap_of_a_drifting_sensor_is_stated(driven: Driven) -> None:
    """A yaw rate off by 0.002 rad/s turns the path by that times the lap time."""
    series = series_of(without(driven, *POSITION))
    object.__setattr__(
        series, "curvature_1pm", series.curvature_1pm + 0.002 / np.maximum(series.speed_mps, 5.0)
    )
    path = path_of(series)
    lap = split(series, path, by="counter").full[0]
    first, last = int(series.index(lap.start_s)), int(series.index(lap.end_s))
    found = closure(path, series, first, last)
    assert found.heading_gap_rad == pytest.approx(0.002 * lap.duration_s, abs=0.02)
    stations, _ = circuit_from(path, series, first, last)
    assert stations.length_m == pytest.approx(driven.road.length, rel=0.005)


def test_places_follow_the_line(driven: Driven) -> None:
    series, path, first, last = lap_of(driven, driven.recording)
    stations, _ = circuit_from(path, series, first, last)
    s, offset = follow(path, stations)
    part = slice(first, last - 100)
    own = series.distance_m[part] - series.distance_m[first]
    assert np.abs(s[part] - own)[100:].max() < 1.5
    assert np.abs(offset[part]).max() < 1.0


def test_a_turned_and_shifted_log_is_laid_onto_the_circuit(driven: Driven) -> None:
    series, path, first, last = lap_of(driven, driven.recording)
    stations, _ = circuit_from(path, series, first, last)
    assert lies_on(path, series, stations)
    c, s = np.cos(0.7), np.sin(0.7)
    from foreaft.laps.path import Path

    moved = Path(c * path.x_m - s * path.y_m + 5e3, s * path.x_m + c * path.y_m - 2e3, False)
    assert not lies_on(moved, series, stations)
    frame = register(moved, series, stations, [(first, last)])
    assert frame is not None
    back = frame.apply(moved)
    assert np.hypot(back.x_m - path.x_m, back.y_m - path.y_m).max() < 1.0


def test_another_circuit_is_not_laid_onto(driven: Driven) -> None:
    series, path, first, last = lap_of(driven, driven.recording)
    stations, _ = circuit_from(path, series, first, last)
    from foreaft.laps.path import Path

    mirrored = Path(path.x_m, -path.y_m, False)
    object.__setattr__(series, "curvature_1pm", -series.curvature_1pm)
    assert register(mirrored, series, stations, [(first, last)]) is None


def test_phase_finds_a_shift() -> None:
    values = np.sin(np.linspace(0.0, 2.0 * np.pi, 1000, endpoint=False)) ** 3
    assert phase(np.roll(values, -250), values) == (pytest.approx(0.25), pytest.approx(1.0))


def test_without_any_sensor_of_turning_there_is_no_path(driven: Driven) -> None:
    bare = without(driven, *POSITION, "yaw_rate_radps", "accel_y_mps2")
    with pytest.raises(CannotTell, match="where the car was"):
        path_of(series_of(bare))


def test_the_start_line_is_crossed_forwards_only(driven: Driven) -> None:
    series, path, _, _ = lap_of(driven, driven.recording)
    backwards = Gate(float(driven.road.x[0]), float(driven.road.y[0]), np.pi)
    with pytest.raises(CannotTell):
        split(series, path, backwards, by="line")


def test_channels_are_taken_as_the_recording_gives_them(driven: Driven) -> None:
    """The quick way for rising times is the recording's own, drop-outs included."""
    from foreaft.laps.series import _at
    from foreaft.logs.recording import Channel, Recording

    whole = driven.recording["speed_mps"]
    kept = np.ones(len(whole.time_s), dtype=bool)
    kept[400:520] = False
    channel = Channel("speed_mps", "v", "", whole.time_s[kept][::3], whole.value[kept][::3], "used")
    recording = Recording("a", "0" * 64, "a.csv", 1, 1, 0.0, {"speed_mps": channel})
    time = np.arange(3000) / 100.0 + 0.003
    mine, theirs = _at(recording, "speed_mps", time), channel.at(time)
    assert np.isnan(mine).any()
    np.testing.assert_array_equal(np.isnan(mine), np.isnan(theirs))
    np.testing.assert_allclose(mine, theirs, atol=1e-12)
