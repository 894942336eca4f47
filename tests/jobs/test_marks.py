"""What a circuit's zones.csv says is used, or said not to be."""

from __future__ import annotations

import shutil
from importlib.resources import as_file
from pathlib import Path

import pytest

from foreaft.files.classes import demo_folder
from foreaft.jobs.requests import ZonesRequest
from foreaft.jobs.zones import zones
from foreaft.model.answers import Envelope, Zones


@pytest.fixture
def circuit(tmp_path: Path) -> Path:
    with as_file(demo_folder()) as demo:
        for name in ("car.toml", "brackwater.csv", "zones.csv"):
            shutil.copy(demo / name, tmp_path / name)
    return tmp_path / "brackwater.csv"


def cut(circuit: Path) -> Envelope[Zones]:
    return zones(ZonesRequest(car=circuit.with_name("car.toml"), circuit=circuit))


def mark(circuit: Path, row: str) -> None:
    with circuit.with_name("zones.csv").open("a") as file:
        file.write(row + "\n")


def test_every_mark_of_the_demo_is_used(circuit: Path) -> None:
    assert "mark_without_zone" not in {one.code for one in cut(circuit).warnings}


def test_a_mark_where_nobody_brakes_is_told(circuit: Path) -> None:
    mark(circuit, "z90,Start line,5,0.5,0.5,4,normal,open")
    answer = cut(circuit)
    (told,) = (one for one in answer.warnings if one.code == "mark_without_zone")
    assert "Start line" in told.text
    assert "z90" not in {zone.zone_id for zone in answer.result.zones}
