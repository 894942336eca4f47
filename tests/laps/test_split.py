"""Laps are found by whatever a log has, at the times the point on the line crossed the start."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from foreaft.base.errors import CannotTell
from foreaft.laps.path import path_of
from foreaft.laps.series import series_of
from foreaft.laps.split import Gate, Split, split
from foreaft.logs.read import read_log
from laps.driven import Driven, recording_of, session, without

USES = (0.9, 0.8, 0.95, 0.9, 0.85, 0.9, 0.9)


@pytest.fixture(scope="module")
def driven() -> Driven:
    return session(5, uses=USES, start_s_m=300.0, extra_s_m=400.0, noise=1.0)


def cut(recording, by=None, gate=None) -> Split:
    series = series_of(recording)
    return split(series, path_of(series), gate, by)


@pytest.mark.parametrize("by", ["counter", "distance", "line"])
def test_laps_begin_where_the_start_line_is_crossed(driven: Driven, by: str) -> None:
    gate = Gate(float(driven.road.x[0]), float(driven.road.y[0]), 0.0)
    found = cut(driven.recording, by, gate)
    assert [lap.kind for lap in found.laps] == ["partial", *["full"] * 4, "partial"]
    starts = [lap.start_s for lap in found.laps[1:]]
    # A held counter shows up to two samples of 0.01 s late; position is noisy by 0.1 m.
    assert np.abs(np.array(starts) - driven.lap_starts_s).max() < 0.0201


@pytest.mark.parametrize("by", ["loop", "signature"])
def test_without_a_start_line_laps_are_as_long_as_the_circuit(driven: Driven, by: str) -> None:
    found = cut(driven.recording, by)
    full = [lap for lap in found.laps if lap.kind == "full"]
    assert len(full) >= 4
    assert found.length_m == pytest.approx(driven.road.length, abs=3.0)  # a step of the grid
    # Any place will do, so a lap mixes two: between the fastest and the slowest line to line.
    times = np.diff(driven.lap_starts_s)
    assert all(times.min() - 0.6 < lap.duration_s < times.max() + 0.6 for lap in full)


def test_the_best_there_is_is_taken(driven: Driven) -> None:
    order = [
        ("counter", ()),
        ("distance", ("lap_count",)),
        ("loop", ("lap_count", "distance_m")),
        ("signature", ("lap_count", "distance_m", "position_x_m", "position_y_m")),
    ]
    for method, dropped in order:
        assert cut(without(driven, *dropped)).method == method


def test_a_half_lap_that_looks_the_same_is_not_a_lap() -> None:
    """The test circuit turns twice by half a turn; only a whole turn is a lap."""
    found = cut(session(3).recording, "signature")
    assert found.length_m == pytest.approx(session(1).road.length, abs=3.0)


def pit_session() -> Split:
    """Out of the pits, three laps of which one is slow, and back in."""
    base = session(5, uses=0.9)
    time = base.recording["speed_mps"].time_s
    values = {name: one.value.copy() for name, one in base.recording.channels.items()}
    stand = 500  # five seconds at either end
    padded = {}
    for name, one in values.items():
        first, last = (0.0, 0.0) if name == "speed_mps" else (one[0], one[-1])
        padded[name] = np.concatenate((np.full(stand, first), one, np.full(stand, last)))
    clock = np.arange(len(time) + 2 * stand) / 100.0
    # The third lap takes a tenth longer: the clock runs on more slowly there.
    third = padded["lap_count"] == 2
    clock = np.concatenate(([0.0], np.cumsum(np.where(third[1:], 0.0115, 0.01))))
    padded["speed_mps"][third] /= 1.15
    return cut(recording_of(padded, clock), "counter")


def test_out_slow_and_in_laps_are_told_apart() -> None:
    assert [lap.kind for lap in pit_session().laps] == ["out", "full", "slow", "full", "in"]


def test_a_log_that_says_nothing_of_laps_is_refused() -> None:
    straight = session(1, extra_s_m=-1000.0)
    with pytest.raises(CannotTell, match="laps"):
        cut(without(straight, "lap_count", "distance_m"))


@pytest.mark.parametrize("dropped", [("distance_m",), ("lap_count", "distance_m")])
def test_a_log_cut_from_line_to_line_is_whole_laps(dropped: tuple[str, ...]) -> None:
    """What a logger hands out as laps: no mark at its ends, and every lap of it is whole."""
    found = cut(without(session(3, uses=USES[:5]), *dropped))
    assert [lap.kind for lap in found.laps] == ["full"] * 3


@pytest.mark.parametrize("laps", [1.0, 1.1])
def test_one_lap_alone_is_a_lap(laps: float) -> None:
    length = session(1).road.length
    one = session(1, start_s_m=300.0, extra_s_m=300.0 + (laps - 1.0) * length)
    found = cut(without(one, "lap_count", "distance_m"))
    assert [lap.kind for lap in found.laps][:1] == ["full"]
    assert sum(lap.kind == "full" for lap in found.laps) == 1
    assert found.length_m == pytest.approx(length, abs=3.0)


def test_a_log_cut_ten_metres_short_of_the_line_has_no_whole_last_lap() -> None:
    """Ten metres are a third of a second: such a lap must not be the best."""
    found = cut(without(session(3, uses=USES[:5], extra_s_m=-10.0), "distance_m"))
    assert [lap.kind for lap in found.laps] == ["full", "full", "partial"]


@pytest.mark.parametrize("start_s_m", [300.0, 0.0])
def test_laps_of_a_file_whose_distance_begins_anew(tmp_path: Path, start_s_m: float) -> None:
    """Readers join such a distance; when it began anew is kept."""
    driven = session(4, uses=USES[:6], start_s_m=start_s_m, extra_s_m=400.0)
    channels = driven.recording.channels
    time, speed = channels["speed_mps"].time_s, channels["speed_mps"].value
    way = np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))))
    lap = (start_s_m + way) % driven.road.length
    rows = np.column_stack((time, speed, lap, channels["yaw_rate_radps"].value))
    path = tmp_path / "log.csv"
    head = "Time [s],Speed [m/s],Distance [m],Yaw rate [rad/s]"
    np.savetxt(path, rows, "%.4f", ",", header=head, comments="")
    found = cut(read_log(path).recordings[0])
    assert found.method == "distance"
    starts = np.array([one.start_s for one in found.laps[1:]])
    assert np.abs(starts - driven.lap_starts_s[: len(starts)]).max() < 0.05
    # A log that begins at the line begins with a whole lap.
    assert (found.laps[0].kind == "full") == (start_s_m == 0.0)


def test_a_sliver_before_the_line_is_no_lap() -> None:
    """A log that begins a few metres short of the line: the first lap it holds is L01."""
    whole = session(3, uses=USES[:5], start_s_m=300.0, extra_s_m=400.0)
    first = whole.lap_starts_s[0] - 0.3
    values, time = {}, whole.recording["speed_mps"].time_s
    kept = time >= first
    for name in ("speed_mps", "position_x_m", "position_y_m"):
        values[name] = whole.recording[name].value[kept]
    gate = Gate(float(whole.road.x[0]), float(whole.road.y[0]), 0.0)
    found = cut(recording_of(values, time[kept] - time[kept][0]), "line", gate)
    assert [lap.kind for lap in found.laps] == ["full", "full", "partial"]
    assert found.laps[0].lap_id == "L01"
    assert found.laps[0].start_s == pytest.approx(0.3, abs=0.0201)
