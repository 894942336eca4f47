"""The pages about files say what the models do: keys, columns and examples."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

from foreaft.files import toml
from foreaft.files.sheet import parse_marks, parse_sheet
from foreaft.model.car import Car
from foreaft.model.fields import Model, Quantity, catalogue
from foreaft.model.zone import SheetRow

ROOT = Path(__file__).resolve().parents[2]
HOW_TO = ROOT / "docs" / "how-to"
PAGES = ["car-file.md", "zone-sheet.md", "driver-and-conditions.md"]


def test_the_page_of_keys_is_fresh() -> None:
    spec = importlib.util.spec_from_file_location("keys", ROOT / "tools" / "make_car_keys.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    text = (ROOT / "docs" / "reference" / "car-keys.md").read_text("utf-8")
    assert text == module.page(), "run: python tools/make_car_keys.py"


@pytest.mark.parametrize("kind", [Car, SheetRow, *toml.KINDS.values()])
def test_every_key_says_what_it_is(kind: type[Model]) -> None:
    for path, entry in catalogue(kind).items():
        assert entry.about.meaning, path
        if isinstance(entry.about, Quantity):
            assert entry.about.lower < entry.about.upper, path


def blocks(page: str, language: str) -> list[str]:
    text = (HOW_TO / page).read_text("utf-8")
    return re.findall(rf"```{language}\n(.*?)```", text, re.S)


def test_whole_files_on_the_pages_are_accepted() -> None:
    whole = [b for page in PAGES for b in blocks(page, "toml") if b.startswith("schema")]
    for text in whole:
        toml.parse(text, toml.KINDS[toml.parse_plain(text)["schema"]])
    assert len(whole) >= 3


def test_sheets_on_the_pages_are_accepted() -> None:
    sheets = blocks("zone-sheet.md", "csv")
    for text in sheets:
        (parse_marks if text.startswith("zone_id") else lambda t: parse_sheet(t, "x"))(text)
    assert len(sheets) >= 2


@pytest.mark.parametrize("page", PAGES)
def test_keys_in_the_text_exist(page: str) -> None:
    known = {
        part
        for kind in (*toml.KINDS.values(), SheetRow)
        for path in catalogue(kind)
        for part in path.split(".")
    }
    text = (HOW_TO / page).read_text("utf-8")
    named = set(re.findall(r"`([a-z]+(?:_[A-Za-z0-9]+)+)`", text))
    values = {
        "pressure_share",
        "torque_share",
        "force_share",
        "balance_bar",
        "pits_only",
        "wheel_rotary",
        "wheel_buttons",
        "balance_bar_knob",
        "apex_s_m",
        "turn_in_s_m",
        "zone_id",
    }
    assert named <= known | values, sorted(named - known - values)
