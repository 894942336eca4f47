"""A report taken out of a history: it alone goes, and its line is still kept."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from foreaft.base.errors import InputError
from foreaft.files.history import (
    Entry,
    append,
    history_file,
    mark_of,
    read_history,
    take_back,
)

OURS = ("a-car", "a-road", "somebody")


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FOREAFT_DATA", str(tmp_path))


def entry(number: int, **changes: Any) -> Entry:
    asked: dict[str, Any] = {
        "schema": "foreaft.history/1",
        "at": f"2031-05-01T10:00:0{number}+00:00",
        "car_id": OURS[0],
        "car_revision": "0" * 12,
        "circuit_id": OURS[1],
        "driver_id": OURS[2],
        "conditions_id": "dry",
        "conditions_revision": "1" * 12,
        "zone_id": "z01",
        "zone_name": "Mill",
        "symptom": "fine",
        "times": 5,
        "passes": 5,
        "from_setting": 54.0,
        "to_setting": 54.0,
        "because": "",
    }
    return Entry(**(asked | changes))


def test_only_the_report_named_goes_and_its_line_is_kept_beside() -> None:
    for number in range(3):
        append(entry(number))
    assert take_back(*OURS, mark_of(entry(1))) == entry(1)
    assert read_history(*OURS).entries == (entry(0), entry(2))
    beside = history_file(*OURS).with_suffix(".taken-back").read_text("utf-8")
    assert Entry.model_validate(json.loads(beside)) == entry(1)


def test_of_two_reports_that_are_the_same_one_goes() -> None:
    append(entry(0))
    append(entry(0))
    take_back(*OURS, mark_of(entry(0)))
    assert read_history(*OURS).entries == (entry(0),)


@pytest.mark.parametrize("kept", [[], [0]])
def test_a_report_that_is_not_there_is_refused_and_nothing_changes(kept: list[int]) -> None:
    for number in kept:
        append(entry(number))
    with pytest.raises(InputError) as caught:
        take_back(*OURS, mark_of(entry(7)))
    assert caught.value.code == "unknown_report"
    assert read_history(*OURS).entries == tuple(entry(number) for number in kept)


def test_a_report_of_another_driver_in_the_same_file_stays() -> None:
    append(entry(0))
    file = history_file(*OURS)
    other = entry(1, driver_id="Somebody")
    file.write_bytes(file.read_bytes() + other.model_dump_json(by_alias=True).encode() + b"\n")
    with pytest.raises(InputError):
        take_back(*OURS, mark_of(other))
    assert other.model_dump_json(by_alias=True) in file.read_text("utf-8")


def test_damaged_lines_are_set_aside_not_lost() -> None:
    append(entry(0))
    file = history_file(*OURS)
    file.write_bytes(file.read_bytes() + b"half a li\n")
    take_back(*OURS, mark_of(entry(0)))
    assert file.with_suffix(".damaged").read_bytes() == b"half a li\n"
    assert file.read_bytes() == b""
