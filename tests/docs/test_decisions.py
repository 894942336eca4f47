"""Numbers named on the pages of decisions are those of the code."""

from __future__ import annotations

from importlib import import_module

import pytest

from docs.pages import DOCS
from foreaft.plan import ensemble

FOLDER = DOCS / "decisions"

# Page, module, constant, its value as the page says it.
NAMED = [
    ("03", "jobs.situation", "TURNING_FRAC", 0.3, "three tenths"),
    ("03", "jobs.situation", "LONGEST_ENTRY_S", 2.5, "2.5 s"),
    ("04", "plan.cost", "LOW_USE", 0.25, "0.25 (`LOW_USE`)"),
    ("05", "plan.cost", "LOW_USE", 0.25, "(0.25, `LOW_USE`)"),
    ("05", "plan.cost", "NODES", 37, "37 places"),
    ("06", "track.sheet", "TRAIL_DECELERATION_MPS2", 5.0, "5 m/s2"),
    ("06", "track.sheet", "LONGEST_ENTRY_S", 2.2, "2.2 s"),
    ("08", "plan.programme", "SURE_FRAC", 0.8, "0.8 of the sampled cars"),
    ("08", "plan.programme", "FLAT_S", 0.010, "10 ms"),
    ("09", "plan.programme", "SURE_FORWARD_FRAC", 0.6, "0.6 of them for a move forward"),
    ("09", "plan.programme", "FLAT_S", 0.010, "10 ms a lap"),
    ("09", "jobs.plan", "FAR_STEPS", 2, "more than two steps"),
    ("11", "jobs.plan", "LOW_GRIP", 0.95, "below 0.95"),
    ("12", "physics.trim", "SLIDE_BLEND", 0.20, "20 % of excess torque"),
    ("13", "plan.ensemble", "MID_CORNER_SPEED_MPS", 30.0, "30 m/s"),
    ("13", "plan.ensemble", "MID_CORNER_SIDE_USE", 0.95, "0.95 of the side grip"),
    ("15", "plan.anchor", "AWAY_SD_FRAC", 0.015, "1.5 points"),
]


@pytest.mark.parametrize(("page", "module", "name", "value", "shown"), NAMED)
def test_numbers_on_the_pages_are_the_codes(
    page: str, module: str, name: str, value: float, shown: str
) -> None:
    [file] = FOLDER.glob(f"{page}-*.md")
    assert shown in file.read_text("utf-8")
    assert getattr(import_module(f"foreaft.{module}"), name) == value, f"{file.name} is out of date"


def test_mid_corner_parts_are_the_codes() -> None:
    parts = ensemble.MID_CORNER_PART
    assert parts == {"pushes": (0.5, 1.0), "neutral": (0.2, 0.8), "loose": (0.0, 0.5)}


def test_each_page_is_listed() -> None:
    listed = (FOLDER / "README.md").read_text("utf-8")
    for file in FOLDER.glob("[0-9]*.md"):
        number, title = file.read_text("utf-8").splitlines()[0].removeprefix("# ").split(". ", 1)
        assert f"| [{number}]({file.name}) | {title} |" in listed
