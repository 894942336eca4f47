"""A plan with numbers moved is the plan of files in which those numbers stand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from foreaft.base.errors import InputError
from foreaft.cli import main
from foreaft.files.classes import demo_folder
from foreaft.jobs.load import load_driver
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import PlanRequest, ZoneViewRequest
from foreaft.jobs.zone_view import zone_view

DEMO = Path(str(demo_folder()))
CAR, SHEET, DRIVER = DEMO / "car.toml", DEMO / "sheet.csv", DEMO / "driver.toml"
DRY = DEMO / "dry.toml"
GRIP, FUEL, SCATTER, BOLDNESS = 0.97, 55.0, 1.5, 2.0
MOVED = {"grip_scale": GRIP, "fuel_kg": FUEL, "scatter_scale": SCATTER, "boldness": BOLDNESS}


def written(folder: Path) -> tuple[Path, Path]:
    """Driver and conditions in whose files the moved numbers stand."""
    driver, day = folder / "driver.toml", folder / "dry.toml"
    scaled = re.sub(
        r"^(hit_sd_frac|release_sd_frac) = ([\d.]+)",
        lambda found: f"{found[1]} = {float(found[2]) * SCATTER!r}",
        DRIVER.read_text(),
        flags=re.M,
    )
    # hold_sd_frac is not in the file; the club level's own number is read, not repeated here.
    hold = load_driver(DRIVER)[0].hold_sd_frac * SCATTER
    driver.write_text(f"{scaled}\nhold_sd_frac = {hold!r}\nboldness = {BOLDNESS}\n")
    text = re.sub(r"^(grip_scale|fuel_kg)\b.*\n", "", DRY.read_text(), flags=re.M)
    day.write_text(f"{text}\ngrip_scale = {GRIP}\nfuel_kg = {FUEL}\n")
    return driver, day


def asked(**more: object) -> PlanRequest:
    given = {"car": CAR, "sheet": SHEET, "driver": DRIVER, "conditions": [DRY], "samples": 2}
    return PlanRequest(**(given | more))


def test_moved_numbers_are_those_of_files(tmp_path):
    driver, day = written(tmp_path)
    moved = plan(asked(**MOVED))[0]
    typed = plan(asked(driver=driver, conditions=[day]))[0]
    assert typed.result.moved == []
    assert moved.result.model_copy(update={"moved": []}) == typed.result
    for role in ("driver", "conditions"):
        assert moved.inputs[role].revision == typed.inputs[role].revision
    assert moved.result != plan(asked())[0].result


def test_a_zone_is_seen_with_the_same_numbers(tmp_path):
    driver, day = written(tmp_path)
    given = {"car": CAR, "sheet": SHEET, "zone": "Mill"}
    moved = zone_view(ZoneViewRequest(**given, driver=DRIVER, conditions=DRY, **MOVED))
    typed = zone_view(ZoneViewRequest(**given, driver=driver, conditions=day))
    assert moved.result == typed.result


def test_grip_moved_to_wet_tells_what_to_try_first():
    """The way of drivers, half of what the model moves, starts from the plan with its own grip."""
    result = plan(asked(grip_scale=0.6, samples=0))[0].result
    dry = plan(asked(samples=0))[0].result.lap_setting.setting
    wet, first = result.lap_setting.setting, result.first_step_setting
    assert first is not None
    assert min(dry, wet) <= first <= max(dry, wet)
    assert abs(first - dry) <= abs(wet - dry) / 2.0


def test_a_plan_says_what_was_moved_and_from_where(tmp_path):
    """Of the numbers asked for those that the files have anyway are not moved."""
    driver, day = written(tmp_path)
    told = plan(asked(**MOVED, changes=2, samples=0))[0].result.moved
    own = {one.key: one.in_file for one in told}
    assert {one.key: one.value for one in told} == MOVED | {"changes_max": 2}
    assert own["boldness"] == load_driver(DRIVER)[0].boldness
    assert own["grip_scale"] == 1.0
    assert plan(asked(samples=0))[0].result.moved == []
    same = asked(driver=driver, conditions=[day], grip_scale=GRIP, boldness=BOLDNESS, samples=0)
    assert plan(same)[0].result.moved == []


def test_rain_keeps_its_own_grip():
    """The grip that is moved is that of the day on the desk, which comes first."""
    wet = DEMO / "wet.toml"
    [first, back] = plan(asked(conditions=[DRY, wet], grip_scale=GRIP, fuel_kg=FUEL, samples=0))
    alone = plan(asked(conditions=[wet], fuel_kg=FUEL, samples=0))[0]
    assert back.inputs["conditions"].revision == alone.inputs["conditions"].revision
    assert [one.key for one in first.result.moved] == ["grip_scale", "fuel_kg"]
    assert [one.key for one in back.result.moved] == ["fuel_kg"]


def test_a_foot_out_of_its_range_is_refused():
    """A driver file takes no first hit that scatters by more than half the pedal."""
    with pytest.raises(InputError):
        plan(asked(scatter_scale=9.0, samples=0))


def test_the_command_line_moves_them_too(capsys):
    words = f"--grip {GRIP} --fuel {FUEL} --scatter {SCATTER} --boldness {BOLDNESS} --samples 2"
    files = ["--car", str(CAR), "--sheet", str(SHEET), "--driver", str(DRIVER)]
    assert main(["plan", *files, "--conditions", str(DRY), *words.split(), "--json"]) == 0
    told = capsys.readouterr().out
    setting = plan(asked(**MOVED))[0].result.lap_setting.setting
    assert f'"lap_setting": {{\n      "setting": {setting}' in told
