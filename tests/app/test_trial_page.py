"""A trial from the three stops to the verdict, on the pages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def stop(app: Any, number: int, setting: str, first: str) -> None:
    row = app.get_by_role("group", name=f"Stop {number}")
    row.get_by_role("textbox").fill(setting)
    row.get_by_label(first).check()


def test_three_stops_say_where_the_crossover_lies(app: Any, expect: Any) -> None:
    app.open("/trial/stops")
    stop(app, 1, "57", "▲ front")
    stop(app, 2, "56.5", "▲ front")
    stop(app, 3, "56", "▼ rear")
    found = app.get_by_role("region", name="What they show")
    expect(found).to_contain_text("56")
    app.reload()
    expect(app.get_by_role("group", name="Stop 3").get_by_role("textbox")).to_have_value("56")
    app.get_by_role("button", name="Write it into Halden GT").click()
    expect(app.get_by_role("button", name="Undo")).to_be_enabled()


def test_a_stop_whose_number_is_none_is_said_at_its_field_and_kept(app: Any, expect: Any) -> None:
    app.open("/trial/stops")
    app.get_by_role("button", name="Begin anew").click()
    stop(app, 1, "57", "▲ front")
    found = app.get_by_role("region", name="What they show")
    expect(found).to_be_visible()
    app.get_by_role("button", name="Another stop").click()
    stop(app, 2, "56,5 ?", "▼ rear")
    row = app.get_by_role("group", name="Stop 2")
    expect(row.get_by_role("alert")).to_contain_text("is not a number")
    expect(found).to_have_count(0)
    app.reload()
    expect(row.get_by_role("textbox")).to_have_value("56,5 ?")
    row.get_by_role("textbox").fill("56,5")
    expect(row.get_by_role("alert")).to_have_count(0)
    expect(found).to_contain_text("The crossover lies between 57.0")


def test_stops_that_contradict_get_no_number(app: Any, expect: Any) -> None:
    app.open("/trial/stops")
    app.get_by_role("button", name="Begin anew").click()
    stop(app, 1, "57", "▼ rear")
    app.get_by_role("button", name="Another stop").click()
    stop(app, 2, "55", "▲ front")
    expect(app.get_by_role("heading", name="What they show")).to_be_visible()
    expect(app.get_by_role("button", name="Write it into Halden GT")).to_have_count(0)


def test_a_trial_is_designed(app: Any, expect: Any) -> None:
    app.open("/trial/design")
    app.get_by_label("Settings").fill("56 53")
    sheet = app.get_by_role("region", name="Run sheet", exact=True)
    expect(sheet).to_be_visible()
    assert sheet.get_by_role("row").count() > 20
    expect(app.get_by_role("heading", name="Run sheet: 56.0 53.0 53.0 56.0")).to_be_visible()
    expect(app.get_by_role("region", name="What this test can show")).to_contain_text(
        "Front minus rear slip needs"
    )
    app.get_by_label("Scatter from lap to lap").fill("little")
    expect(app.get_by_role("alert")).to_contain_text("“little” is not a number")
    expect(sheet).to_have_count(0)


def test_laps_without_a_difference_show_none(app: Any, expect: Any, tmp_path: Path) -> None:
    """Pure noise: the verdict says so, and what it would have seen."""
    drawn = np.random.default_rng(7)
    order = [56, 53, 53, 56, 53, 56, 56, 53] * 2
    rows = ["lap,setting,keep,slip_difference_frac"]
    for number, setting in enumerate(np.repeat(order, 2)):
        kept = "yes" if number % 2 else "no"
        rows.append(f"{number + 1},{setting},{kept},{drawn.normal(0, 0.012):.4f}")
    laps = tmp_path / "laps.csv"
    laps.write_text("\n".join(rows) + "\n")
    app.open("/trial/judge")
    app.locator("input[type=file]").set_input_files(laps)
    app.get_by_role("button", name="Judge it").click()
    expect(app.get_by_role("heading", name="Verdict")).to_be_visible(timeout=120_000)
    effects = app.get_by_role("region", name="Effects")
    expect(effects).to_contain_text("no difference shown")
    expect(effects).to_contain_text("Front minus rear slip")
    assert "slip_difference_frac" not in effects.inner_text()
    app.get_by_label("Compared with setting").fill("53")
    expect(app.get_by_text("This verdict was asked before other things")).to_be_visible()
