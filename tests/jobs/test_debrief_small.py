"""A debrief of few laps says no more than they can: one lap, one log twice, a zone not braked."""

from __future__ import annotations

import json
import shutil
import statistics
import subprocess
from pathlib import Path

import pytest

from foreaft.base.errors import Cancelled, CannotTell, InputError
from foreaft.cli import show_debrief
from foreaft.files.classes import demo_folder
from foreaft.jobs.debrief import debrief, debriefed
from foreaft.jobs.debrief_products import hand_over
from foreaft.jobs.debrief_traces import traces
from foreaft.jobs.record import record
from foreaft.jobs.requests import DebriefRequest, RecordRequest
from foreaft.model.answers import Envelope
from foreaft.model.answers_debrief import Debrief

DEMO = Path(str(demo_folder()))
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    found = []
    for laps in (1, 2):
        asked = RecordRequest(
            car=DEMO / "car.toml", circuit=DEMO / "brackwater.csv", laps=laps, settings=[51.5]
        )
        found.append(Path(record(asked, tmp_path_factory.mktemp("log")).files[0]))
    return found


@pytest.fixture(scope="module")
def one_lap(logs: list[Path]) -> Envelope[Debrief]:
    """A log cut from line to line: it has no mark inside it, and its lap is whole."""
    return debrief(DebriefRequest(logs=[logs[0]], circuit=DEMO / "brackwater.csv"))


def test_one_lap_loses_nothing_against_itself(one_lap: Envelope[Debrief]) -> None:
    assert sum(lap.kind == "full" for lap in one_lap.result.laps) == 1
    assert {zone.lost_usual_s for zone in one_lap.result.zones} == {None}
    assert "one full lap" in " ".join(one.because for one in one_lap.result.cannot_tell)


def test_every_zone_of_the_circuit_is_in_the_table_or_named_as_left_out(
    one_lap: Envelope[Debrief],
) -> None:
    there = {zone.zone_id for zone in one_lap.result.zones}
    told = " ".join(one.text for one in one_lap.warnings if one.code == "zone_not_braked")
    wanted = [line.split(",")[0] for line in (DEMO / "zones.csv").read_text("utf-8").splitlines()]
    wanted = [one for one in wanted if one[:1] == "z" and one[1:].isdigit()]
    assert len(wanted) == 12
    assert all((one in there) != (one in told) for one in wanted)


def test_the_printed_page_has_the_warnings_too(logs: list[Path], tmp_path: Path) -> None:
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("pdftotext is not installed")
    looked = debriefed(DebriefRequest(logs=[logs[0]], circuit=DEMO / "brackwater.csv"))
    assert looked.answer.warnings
    hand_over(looked, tmp_path)
    asked = [reader, str(tmp_path / "debrief.pdf"), "-"]
    text = subprocess.run(asked, capture_output=True, check=True, timeout=60).stdout.decode()
    shown = " ".join(text.split())
    assert all(one.text[:40] in shown for one in looked.answer.warnings)


def test_a_log_given_twice_is_refused(logs: list[Path]) -> None:
    with pytest.raises(InputError) as caught:
        debrief(DebriefRequest(logs=[logs[0], logs[0]]))
    assert caught.value.code == "log_twice"


def test_the_middle_of_two_laps_is_between_them(logs: list[Path]) -> None:
    answer = debrief(DebriefRequest(logs=[logs[1]]))
    full = [lap.duration_s for lap in answer.result.laps if lap.kind == "full"]
    assert len(full) == 2
    shown = show_debrief.debrief(answer, "metric")
    assert f"Best {min(full):.2f} s, middle {statistics.mean(full):.2f} s" in shown


def test_a_refused_log_of_the_other_driver_is_named(logs: list[Path], tmp_path: Path) -> None:
    """The other one's log holds the circuit turned about: a mirror of the first."""
    lines = logs[0].read_text("utf-8").splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("Time,"))
    rows = _mirrored(lines[head], lines[head + 2 :])
    other = tmp_path / "mirror.csv"
    text = [*lines[: head + 2], *(",".join(row) for row in rows)]
    other.write_text("\n".join(text) + "\n", "utf-8")
    with pytest.raises(CannotTell, match=r"mirror\.csv"):
        debrief(DebriefRequest(logs=[logs[0]], against=other))


def test_a_session_after_a_pause_is_kept_if_it_lies_on_the_circuit(
    logs: list[Path], tmp_path: Path
) -> None:
    """Forty seconds hold no lap of their own; what the session before showed lays them."""
    answer = debrief(DebriefRequest(logs=[_with_a_second_session(logs[0], tmp_path)]))
    assert not [one for one in answer.warnings if one.code == "session_left_out"]
    assert [lap.kind for lap in answer.result.laps if lap.lap_id.startswith("R2")] == ["partial"]


def test_a_session_left_out_is_named(logs: list[Path], tmp_path: Path) -> None:
    """Forty seconds on the circuit turned about: too little for laps, and not on the line."""
    mirrored = _with_a_second_session(logs[0], tmp_path, turned=True)
    answer = debrief(DebriefRequest(logs=[mirrored]))
    told = [one.text for one in answer.warnings if one.code == "session_left_out"]
    assert len(told) == 1
    assert "session 2 of two.csv (40 s)" in told[0]


def _with_a_second_session(log: Path, folder: Path, *, turned: bool = False) -> Path:
    """The log, and after a pause its first 40 s again, or those turned into a mirror image."""
    lines = log.read_text("utf-8").splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("Time,"))
    again = lines[head + 2 : head + 4002]
    rows = _mirrored(lines[head], again) if turned else [line.split(",") for line in again]
    for row in rows:
        row[0] = f"{float(row[0]) + 1000.0:.2f}"
    two = folder / "two.csv"
    two.write_text("\n".join([*lines, *(",".join(row) for row in rows)]) + "\n", "utf-8")
    return two


def _mirrored(names: str, lines: list[str]) -> list[list[str]]:
    """Rows of a log on the mirror image of its circuit."""
    columns = names.split(",")
    turned = [columns.index(one) for one in ("Latitude", "Acceleration Y", "Yaw rate")]
    rows = [line.split(",") for line in lines]
    for row in rows:
        for k in turned:
            row[k] = str(-float(row[k])) if row[k] else ""
    return rows


@pytest.mark.parametrize("stage", ["logs", "sessions", "pages"])
def test_it_is_stopped_inside_every_part(logs: list[Path], tmp_path: Path, stage: str) -> None:
    """The flag is raised once a part has begun; its own loop has to see it."""
    begun: list[str] = []

    def progress(what: str, done: int, of: int) -> None:
        if stage in begun:
            raise Cancelled
        begun.append(what)

    def whole() -> None:
        looked = debriefed(DebriefRequest(logs=[logs[0]]), progress, lambda: stage in begun)
        hand_over(looked, tmp_path / "out", progress=progress)

    with pytest.raises(Cancelled):
        whole()
    assert begun[-1] == stage
    assert list(tmp_path.iterdir()) == []


def test_laps_of_every_log_are_drawn_whichever_comes_first(logs: list[Path]) -> None:
    """The longest session and the first keep all their samples; here they are one and the same."""
    looked = debriefed(DebriefRequest(logs=[logs[1], logs[0]]))
    drawn = {one["lap_id"]: one for one in json.loads(traces(looked))["laps"]}
    full = {lap.lap_id for lap in looked.answer.result.laps if lap.kind == "full"}
    assert set(drawn) == full
    second = next(one for name, one in drawn.items() if name.startswith("R2-"))
    known = [v for v in second["speed_mps"] if v is not None]
    length = looked.answer.result.circuit.length_m
    assert length / second["duration_s"] == pytest.approx(
        len(known) / sum(1.0 / v for v in known), rel=0.02
    )
