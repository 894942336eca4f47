"""A debrief of few laps says no more than they can: one lap, one log twice, a zone not braked."""

from __future__ import annotations

import shutil
import statistics
import subprocess
from pathlib import Path

import pytest

from foreaft.base.errors import InputError
from foreaft.cli import show_debrief
from foreaft.files.classes import demo_folder
from foreaft.jobs.debrief import debrief, debriefed
from foreaft.jobs.debrief_products import hand_over
from foreaft.jobs.record import record
from foreaft.jobs.requests import DebriefRequest, RecordRequest
from foreaft.model.answers import Envelope
from foreaft.model.answers_debrief import Debrief

DEMO = Path(str(demo_folder()))
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    found = []
    for laps in (3, 4):
        asked = RecordRequest(
            car=DEMO / "car.toml", circuit=DEMO / "brackwater.csv", laps=laps, settings=[51.5]
        )
        found.append(Path(record(asked, tmp_path_factory.mktemp("log")).files[0]))
    return found


@pytest.fixture(scope="module")
def one_lap(logs: list[Path]) -> Envelope[Debrief]:
    """The first and the last lap of a log are never known to be whole: three leave one."""
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
