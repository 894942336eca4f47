"""The job ``advise`` from files to answer, and the history it keeps."""

from __future__ import annotations

import json
import multiprocessing
import os
import subprocess
import sys
from collections.abc import Iterator
from importlib.resources import as_file
from pathlib import Path
from typing import Any

import pytest

from foreaft.base.errors import Cancelled, InputError
from foreaft.files import history as kept
from foreaft.files.classes import demo_folder
from foreaft.files.history import Entry, append, history_file, read_history
from foreaft.jobs.advise import CAME_ROUND, advise, history
from foreaft.jobs.requests import AdviseRequest, Quick
from foreaft.model.answers import Advice, Envelope

SAMPLES = 40


@pytest.fixture
def data() -> Iterator[Path]:
    with as_file(demo_folder()) as folder:
        yield folder


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("FOREAFT_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


def ask(data: Path, **changes: Any) -> Envelope[Advice]:
    asked: dict[str, Any] = {
        "car": data / "car.toml",
        "sheet": data / "sheet.csv",
        "driver": data / "driver.toml",
        "zone": "Mill",
        "symptom": "loose_on_entry",
        "setting": 53.0,
        "times": 2,
        "passes": 6,
        "samples": SAMPLES,
    }
    return advise(AdviseRequest(**(asked | changes)))


# ---------------------------------------------------------------- the answer


@pytest.mark.parametrize(("higher", "sign"), [("front", 1), ("rear", -1)])
@pytest.mark.parametrize(
    ("symptom", "forward"),
    [
        ("came_round", (1,)),
        ("loose_on_entry", (0, 1)),
        ("locked_inside_front", (0, -1)),
        ("locked_both_fronts", (0, -1)),
        ("locked_rears", (0, 1)),
        ("would_not_turn", (0, -1)),
        ("fine", (0, 1, -1)),
    ],
)
def test_direction_counts_the_way_the_adjuster_does(
    data: Path, symptom: str, forward: tuple[int, ...], higher: str, sign: int
) -> None:
    quick = Quick(today=10, higher=higher, first="front", step=1, lowest=0, highest=20)
    answer = ask(
        data, car="gt-mid", quick=quick, symptom=symptom, setting=10, times=3, remember=False
    )
    moved = round(answer.result.to_setting - 10.0)
    assert moved * sign in forward
    word = {1: "FORWARD", -1: "REARWARD", 0: "Stay at 10"}[moved * sign]
    assert word in answer.result.because
    assert f"bigger number = more {higher.upper()}" in answer.result.because


def test_came_round_once_goes_forward_and_says_so_first(data: Path) -> None:
    answer = ask(data, symptom="came_round", times=1, passes=30, setting=58.0, remember=False)
    assert answer.result.to_setting == 58.5
    assert "One step FORWARD, 58.0 -> 58.5" in answer.result.because
    assert answer.cautions[0] == CAME_ROUND
    assert CAME_ROUND not in ask(data, remember=False).cautions


def test_at_the_end_of_the_adjuster_there_is_no_step(data: Path) -> None:
    answer = ask(data, symptom="came_round", times=2, setting=60.0, remember=False)
    assert answer.result.to_setting == 60.0
    assert "No step to the front" in (answer.result.cannot_tell or "")
    answer = ask(data, symptom="locked_both_fronts", times=2, setting=48.0, remember=False)
    assert answer.result.to_setting == 48.0
    assert "No step to the rear" in (answer.result.cannot_tell or "")


def test_would_not_turn_names_both_explanations(data: Path) -> None:
    text = ask(data, symptom="would_not_turn", setting=56.0, remember=False).result.because
    assert "braking has spent the front" in text
    assert "too much speed for the corner" in text


def test_ranges_only_ever_come_with_what_they_were(data: Path) -> None:
    answer = ask(data, setting=55.0, times=5, samples=200, remember=False)
    result = answer.result
    for one in result.narrowed:
        assert one.high - one.low < 0.9 * (one.before_high - one.before_low)
        assert one.label
    assert 0 < result.cars_effective <= result.cars
    assert 0.0 <= (result.by_balance_frac or 0.0) <= 1.0


@pytest.mark.parametrize("zone", ["mill", "MILL", "z02"])
def test_a_zone_by_id_or_name(data: Path, zone: str) -> None:
    assert ask(data, zone=zone, remember=False).result.zone_name == "Mill"


@pytest.mark.parametrize(
    ("wrong", "key", "said"),
    [
        ({"zone": "Mil"}, "zone", "Tollgate Hairpin"),
        ({"zone": ""}, "zone", "Mill"),
        ({"setting": 53.2}, "setting", "48 to 60 in steps of 0.5"),
        ({"setting": 61.0}, "setting", "48 to 60"),
        ({"times": 7}, "times", "passes = 6"),
        ({"symptom": "fine", "times": 0}, "times", "1 to passes"),
        ({"sheet": None}, "circuit, sheet", "one of the two"),
    ],
)
def test_wrong_questions_are_refused_and_nothing_is_kept(
    data: Path, own_folder: Path, wrong: dict[str, Any], key: str, said: str
) -> None:
    with pytest.raises(InputError) as caught:
        ask(data, **wrong)
    assert caught.value.key == key
    assert said in (caught.value.allowed or "")
    assert not own_folder.exists()


def test_cancelled_work_keeps_nothing(data: Path, own_folder: Path) -> None:
    request = AdviseRequest(
        car=data / "car.toml",
        sheet=data / "sheet.csv",
        zone="Mill",
        symptom="fine",
        setting=54,
        samples=SAMPLES,
    )
    with pytest.raises(Cancelled):
        advise(request, cancelled=lambda: True)
    assert not own_folder.exists()


# ---------------------------------------------------------------- the history in the advice


def test_earlier_reports_are_weighed_and_listed(data: Path) -> None:
    first = ask(data)
    second = ask(data, setting=53.5)
    alone = ask(data, setting=53.5, remember=False)
    assert (first.result.reports, second.result.reports, alone.result.reports) == (1, 2, 1)
    assert second.result.best_forward_frac != alone.result.best_forward_frac
    assert second.request_sha256 != alone.request_sha256
    listed = history(data / "car.toml", data / "sheet.csv", data / "driver.toml").result.lines
    assert [line["from"] for line in listed] == [53.0, 53.5]
    assert listed[0]["because"] == first.result.because
    assert not history(data / "car.toml", data / "sheet.csv", None).result.lines


def test_reports_of_another_car_file_are_left_out_and_said(data: Path, tmp_path: Path) -> None:
    ask(data)
    changed = tmp_path / "car.toml"
    text = (data / "car.toml").read_text("utf-8")
    changed.write_text(text.replace("wheelbase_m = { value = 2.62", "wheelbase_m = { value = 2.63"))
    answer = ask(data, car=changed)
    assert answer.result.reports == 1
    assert [w.text for w in answer.warnings if w.code == "history_left_out"]


def test_left_alone_means_neither_read_nor_written(data: Path, own_folder: Path) -> None:
    ask(data, remember=False)
    assert not own_folder.exists()


def test_advice_that_cannot_be_kept_is_still_given(
    data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(file: Path, content: bytes) -> Path:
        raise InputError("The disk is full.", code="file_disk_full", hint="Free some space.")

    with monkeypatch.context() as patch:
        patch.setattr(kept, "write_file", full)
        answer = ask(data)
    assert answer.result.to_setting
    assert [w.text for w in answer.warnings if w.code == "history_not_kept"]
    assert ask(data).result.reports == 1


def test_a_history_that_cannot_be_read_is_refused(data: Path, own_folder: Path) -> None:
    own_folder.write_text("a file where the folder should be")
    with pytest.raises(InputError) as caught:
        ask(data)
    assert caught.value.code == "history_unreadable"
    with pytest.raises(InputError):
        append(entry(1))
    assert own_folder.read_text() == "a file where the folder should be"


# ---------------------------------------------------------------- the file


def entry(number: int, **changes: Any) -> Entry:
    asked: dict[str, Any] = {
        "schema": "foreaft.history/1",
        "at": f"2031-05-0{1 + number % 9}T10:00:00+00:00",
        "car_id": "a-car",
        "car_revision": "0" * 12,
        "circuit_id": "a circuit",
        "driver_id": "somebody",
        "conditions_id": "dry",
        "conditions_revision": "1" * 12,
        "zone_id": "z01",
        "zone_name": "Ünten",
        "symptom": "fine",
        "times": number,
        "passes": 1000,
        "from_setting": 54.0,
        "to_setting": 54.0,
        "because": "line\nbreak",
    }
    return Entry(**(asked | changes))


def read() -> kept.History:
    return read_history("a-car", "a circuit", "somebody")


def test_what_is_appended_is_read_back_in_order() -> None:
    for number in range(5):
        append(entry(number))
    assert read().entries == tuple(entry(number) for number in range(5))


def test_one_file_per_three_ids_and_none_leaves_the_folder(own_folder: Path) -> None:
    append(entry(0))
    append(entry(1, driver_id="../../else/where"))
    append(entry(2, circuit_id="x" * 400))
    inside = list((own_folder / "history").glob("*.jsonl"))
    assert len(inside) == 3
    assert not list(own_folder.parent.glob("else*"))
    assert read().entries == (entry(0),)


def test_a_crash_before_the_rename_costs_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    append(entry(0))
    before = history_file("a-car", "a circuit", "somebody").read_bytes()

    def dies(self: Path, target: Path) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", dies)
        with pytest.raises(KeyboardInterrupt):
            append(entry(1))
    assert history_file("a-car", "a circuit", "somebody").read_bytes() == before
    append(entry(2))
    assert read().entries == (entry(0), entry(2))


def test_a_process_killed_while_it_holds_the_lock_does_not_block_the_next() -> None:
    append(entry(0))
    code = """
import os, signal
from pathlib import Path
from foreaft.files import history
Path.replace = lambda self, target: os.kill(os.getpid(), signal.SIGKILL)
from foreaft.files.history import append, read_history
first = read_history("a-car", "a circuit", "somebody").entries[0]
append(first)
"""
    done = subprocess.run([sys.executable, "-c", code], env=os.environ.copy(), check=False)
    assert done.returncode != 0
    assert read().entries == (entry(0),)
    append(entry(1))
    assert read().entries == (entry(0), entry(1))


def append_many(first: int) -> None:
    for number in range(first, first + 25):
        append(entry(number))


def test_two_processes_at_once_lose_nothing() -> None:
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=append_many, args=(first,)) for first in (0, 100)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert [worker.exitcode for worker in workers] == [0, 0]
    found = [one.times for one in read().entries]
    assert sorted(found) == [*range(25), *range(100, 125)]
    assert [n for n in found if n < 100] == list(range(25))


def test_a_held_history_is_refused_after_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    append(entry(0))
    monkeypatch.setattr(kept, "WAIT_S", 0.05)
    file = history_file("a-car", "a circuit", "somebody")
    with kept._locked(file), pytest.raises(InputError) as caught:
        append(entry(1))
    assert caught.value.code == "history_busy"
    assert read().entries == (entry(0),)


GARBAGE = [
    b"{",
    b"\xff\xfe\x00binary",
    b"[1, 2]",
    b"[" * 5000,
    json.dumps({"schema": "foreaft.history/9"}).encode(),
    entry(3).model_dump_json(by_alias=True).replace("54.0", "NaN").encode(),
]


@pytest.mark.parametrize("garbage", GARBAGE)
def test_damaged_lines_are_reported_set_aside_and_never_lost(garbage: bytes) -> None:
    append(entry(0))
    file = history_file("a-car", "a circuit", "somebody")
    file.write_bytes(garbage + b"\n" + file.read_bytes())
    found = read()
    assert found.entries == (entry(0),)
    assert [(one.line, one.raw) for one in found.damaged] == [(1, garbage)]
    told = append(entry(1))
    assert told.entries == (entry(0), entry(1))
    assert told.damaged == found.damaged
    assert not read().damaged
    assert file.with_suffix(".damaged").read_bytes() == garbage + b"\n"
    file.write_bytes(file.read_bytes() + b"half a li")
    append(entry(2))
    assert file.with_suffix(".damaged").read_bytes() == garbage + b"\nhalf a li\n"
    assert read().entries == (entry(0), entry(1), entry(2))


def test_damaged_lines_are_said_in_the_answer(data: Path) -> None:
    ask(data)
    file = history_file("halden-gt", "sheet", "mara-venn")
    file.write_bytes(file.read_bytes() + b"torn")
    answer = ask(data)
    assert answer.result.reports == 2
    assert [w.text for w in answer.warnings if w.code == "history_damaged"]


def test_the_folder_follows_the_platform(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("FOREAFT_DATA")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "xdg"))
    if sys.platform.startswith("linux"):
        assert kept.data_folder() == tmp_path / "xdg" / "foreaft"
