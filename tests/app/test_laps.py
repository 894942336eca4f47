"""Logs in the browser: brought in, an unknown column named, debriefed, the laps moved along."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from foreaft.files.classes import demo_folder
from foreaft.jobs.record import record
from foreaft.jobs.requests import RecordRequest

pytestmark = pytest.mark.browser

DEMO = Path(str(demo_folder()))
LONG_MS = 240_000
FRAME_MS = 1000 / 30


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four laps whose brake pedal is a column without a unit."""
    asked = RecordRequest(
        car=DEMO / "car.toml",
        circuit=DEMO / "brackwater.csv",
        driver="club",
        laps=4,
        logger="full",
        units_in="none",
    )
    return Path(record(asked, tmp_path_factory.mktemp("log")).files[0])


def test_a_log_with_an_unknown_column_is_debriefed(app: Any, expect: Any, log: Path) -> None:
    app.open("/laps")
    app.locator("input[type=file]").set_input_files(log)
    expect(app.get_by_text("One column is open")).to_be_visible(timeout=LONG_MS)
    app.get_by_label("What Brake pedal is").select_option("brake_pedal_frac:%")
    app.reload()
    # Read with what was said there is nothing more to suggest: it stands among all channels.
    expect(app.get_by_label("What Brake pedal is")).to_have_value("any brake_pedal_frac")
    expect(app.get_by_label("Unit of Brake pedal")).to_have_value("%")
    app.get_by_role("button", name="Keep what you said").click()
    app.wait_for_url("**mapping=mappings**")
    app.get_by_role("button", name="Debrief these laps").click()
    expect(app.get_by_role("heading", name="To work on")).to_be_visible(timeout=LONG_MS)
    table = app.get_by_role("region", name="Zones and passes")
    assert table.get_by_role("row").count() > 8  # of twelve zones; one may be passed unbraked
    table.get_by_role("button", name="Quarry Hairpin").click()
    laid = app.get_by_role("img", name="Quarry Hairpin: passes laid over each other")
    expect(laid).to_be_visible()
    app.reload()
    expect(app.get_by_role("heading", name="To work on")).to_be_visible(timeout=LONG_MS)
    assert "L02" in app.locator(".chips").inner_text()


def test_the_laps_pan_at_thirty_frames_a_second(app: Any, expect: Any, log: Path) -> None:
    """Every lap has a point a metre: more than ten thousand in three panels."""
    app.open("/laps")
    app.locator("input[type=file]").set_input_files(log)
    begin = app.get_by_role("button", name="Debrief these laps")
    plotted = app.locator(".plots canvas").first
    expect(begin.or_(plotted).first).to_be_visible(timeout=LONG_MS)
    app.wait_for_timeout(1500)  # the same log may have been debriefed before: it is found again
    if not plotted.is_visible():
        begin.click(timeout=LONG_MS)
    expect(plotted).to_be_visible(timeout=LONG_MS)
    app.get_by_role("button", name="Closer").click()
    plots = app.locator(".plots")
    plots.scroll_into_view_if_needed()
    box = plots.bounding_box()
    app.evaluate(
        "() => { window.at = []; const tick = (t) => { at.push(t); requestAnimationFrame(tick); };"
        " requestAnimationFrame(tick); }"
    )
    app.mouse.move(box["x"] + 600, box["y"] + 80)
    app.mouse.down()
    for moved in range(0, 400, 5):
        app.mouse.move(box["x"] + 600 - moved, box["y"] + 80)
    app.mouse.up()
    times = app.evaluate("window.at")
    gaps = sorted(b - a for a, b in pairwise(times))
    assert gaps[len(gaps) // 2] < FRAME_MS


def test_what_is_no_log_says_so_and_the_others_come_in(
    app: Any, expect: Any, tmp_path: Path
) -> None:
    wrong = {
        "<b>notes.csv": b"hello\n",
        "start.csv": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
        "packed.csv": b"PK\x03\x04" + bytes(range(256)),
        "cut.mf4": b"MDF     4.10    cut off",
        "none.csv": b"",
    }
    for name, data in wrong.items():
        (tmp_path / name).write_bytes(data)
    good = tmp_path / "nameless.csv"
    rows = "".join(f"{i / 10},{30 + i % 7},{i % 3}\n" for i in range(200))
    good.write_text(f"q,w,zz\n{rows}")
    app.open("/laps")
    files = [tmp_path / name for name in list(wrong)[:2]]
    app.locator("input[type=file]").set_input_files(
        [*files, good, *(tmp_path / name for name in list(wrong)[2:])]
    )
    expect(app.get_by_label("Look at nameless.csv")).to_be_checked(timeout=LONG_MS)
    logs = app.get_by_role("region", name="Logs")
    expect(logs.get_by_role("alert")).to_have_count(len(wrong), timeout=LONG_MS)
    for name in wrong:
        expect(logs.get_by_role("alert").filter(has_text=name)).to_have_count(1)
        expect(app.get_by_label(f"Look at {name}")).to_have_count(0)


def test_a_log_of_which_nothing_is_known_is_named_on_the_page(app: Any, expect: Any) -> None:
    """It was brought in by the test before; its time and speed are said by what they hold."""
    app.open("/laps?logs=logs/nameless.csv")
    expect(app.get_by_label("Channels").get_by_role("alert")).to_contain_text("has no time")
    for column, channel, unit in (("q", "time_s", "s"), ("w", "speed_mps", "m/s")):
        what = app.get_by_label(f"What {column} is", exact=True)
        what.select_option(f"any {channel}")
        app.get_by_label(f"Unit of {column}", exact=True).select_option(unit)
    app.get_by_role("button", name="Keep what you said").click()
    app.wait_for_url("**mapping=mappings**")
    kept = (app.house.library / "mappings" / "nameless.mapping.toml").read_text("utf-8")
    assert 'channel = "time_s"' in kept
    assert 'channel = "speed_mps"' in kept


def test_a_debrief_goes_on_to_a_trial_and_is_opened_again(app: Any, expect: Any, log: Path) -> None:
    """One setting all through: there is nothing to compare, and the page says so."""
    app.open("/laps")
    app.locator("input[type=file]").set_input_files(log)
    begin = app.get_by_role("button", name="Debrief these laps")
    found = app.get_by_role("heading", name="To work on")
    expect(begin.or_(found).first).to_be_visible(timeout=LONG_MS)
    app.wait_for_timeout(1500)
    if not found.is_visible():
        begin.click(timeout=LONG_MS)
    expect(found).to_be_visible(timeout=LONG_MS)
    app.get_by_role("link", name="Judge a trial").click()
    app.get_by_role("button", name="Judge it").click()
    expect(app.get_by_role("alert")).to_contain_text("all laps were driven at", timeout=LONG_MS)
    app.open("/library")
    app.get_by_role("link", name="Debrief: 1 log of Mara Venn at Brackwater").first.click()
    app.wait_for_url("**/laps?**logs=logs/**")
    expect(found).to_be_visible(timeout=LONG_MS)
    assert "work=" not in app.url
