"""The library in the browser: files come in, are copied, removed, and come back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser

SHEET = """name,approach_kmh,min_kmh,lateral_g,depth_frac,direction,hand_time_s
A,200,80,1.2,0.5,left,2
"""


def more(app: Any, name: str, what: str) -> None:
    """Open what more can be done with a thing, and do it."""
    app.get_by_role("button", name=f"More to do with {name}").click()
    app.get_by_role("button", name=what, exact=True).click()


def test_files_come_in_by_what_stands_in_them(app: Any, expect: Any, tmp_path: Path) -> None:
    good, wrong, log = tmp_path / "sunday.csv", tmp_path / "broken.toml", tmp_path / "run.csv"
    good.write_text(SHEET)
    wrong.write_text('schema = "foreaft.car/1"\nid = "broken"\nname = "Broken"\n')
    log.write_text("Time,Speed\ns,km/h\n0.0,100\n0.1,99\n")
    app.open("/library")
    app.locator("input[type=file]").set_input_files([good, wrong, log])
    expect(app.get_by_role("link", name="Sunday")).to_be_visible()
    expect(app.get_by_role("link", name="run.csv")).to_be_visible()
    expect(app.get_by_role("alert").first).to_contain_text("broken")
    library = app.house.library
    assert (library / "sheets" / "sunday.csv").read_text("utf-8") == SHEET
    assert not (library / "cars" / "broken.toml").exists()


def test_a_car_called_a_script_is_a_car(app: Any, expect: Any) -> None:
    app.open("/library")
    more(app, "Halden GT", "Copy")
    app.get_by_label("Name", exact=True).fill("<script>alert(1)</script>")
    app.get_by_role("button", name="Copy", exact=True).last.click()
    expect(app.get_by_role("link", name="<script>alert(1)</script>")).to_be_visible()
    assert (app.house.library / "cars" / "script-alert-1-script.toml").is_file()


def test_what_is_removed_comes_back_by_undo_and_after_a_reload(app: Any, expect: Any) -> None:
    file = app.house.library / "conditions" / "wet.toml"
    before = file.read_bytes()
    app.open("/library")
    more(app, "Wet", "Remove")
    expect(app.get_by_role("button", name="More to do with Wet")).to_have_count(0)
    assert not file.exists()
    app.get_by_label("On the desk").get_by_role("button", name="Undo").click()
    expect(app.get_by_role("button", name="More to do with Wet")).to_be_visible()
    assert file.read_bytes() == before
    more(app, "Wet", "Remove")
    expect(app.get_by_text("Removed: 1")).to_be_visible()
    app.reload()
    app.get_by_text("Removed: 1").click()
    app.get_by_role("button", name="Bring back wet").click()
    expect(app.get_by_role("button", name="More to do with Wet")).to_be_visible()
    assert file.read_bytes() == before


def test_a_driver_is_made_changed_and_brought_back_to_what_he_was(app: Any, expect: Any) -> None:
    app.open("/library")
    app.get_by_role("button", name="New driver").click()
    app.get_by_label("Of the level").select_option("novice")
    app.get_by_label("Name", exact=True).fill("Tilo")
    app.get_by_role("button", name="Make it").click()
    expect(app.get_by_role("heading", name="Tilo", level=1)).to_be_visible()
    app.get_by_role("navigation").get_by_role("link", name="Library").click()
    more(app, "Tilo", "Edit as text")
    text = app.get_by_label("The file")
    text.fill(text.input_value().replace("novice", "pro"))
    app.get_by_role("button", name="Save", exact=True).click()
    file = app.house.library / "drivers" / "tilo.toml"
    expect(app.get_by_text("pro ·").first).to_be_visible()
    assert "pro" in file.read_text("utf-8")
    app.get_by_role("button", name="Former versions", exact=True).click()
    app.get_by_role("dialog").get_by_role("button", name="Bring back").click()
    expect(app.get_by_text("novice ·").first).to_be_visible()
    assert "novice" in file.read_text("utf-8")


def test_names_of_all_kinds_fit_a_phone(app: Any, expect: Any) -> None:
    """Long without a gap, from right to left, with pictures, with tags: all are only names."""
    names = [
        "x" * 80,
        "\u0645\u0631\u0633\u064a \u0661",
        "\U0001f3ce Émile",
        "<b onclick=alert(1)>bold",
    ]
    folder = app.house.library / "drivers"
    for number, name in enumerate(names):
        text = f'schema = "foreaft.driver/1"\nid = "n{number}"\nname = "{name}"\nlevel = "club"\n'
        (folder / f"n{number}.toml").write_text(text, "utf-8")
    app.set_viewport_size({"width": 390, "height": 844})
    for address in ("/library", "/driver/n0?driver=drivers/n1"):
        app.open(address)
        expect(app.get_by_text(names[0]).last).to_be_visible()
        assert app.evaluate("document.documentElement.scrollWidth") <= 390
    app.open("/library")
    for name in names:
        expect(app.get_by_role("link", name=name)).to_be_visible()
