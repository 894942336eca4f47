"""A driver and a day in the browser: field by field, saved at once, and taken back."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

pytestmark = pytest.mark.browser


def file_of(app: Any, kind: str, name: str) -> str:
    return str((app.house.library / kind / f"{name}.toml").read_text("utf-8"))


def test_a_driver_is_opened_from_the_desk_line_and_changed(app: Any, expect: Any) -> None:
    app.open("/plan")
    app.get_by_role("link", name="driven by").click()
    expect(app.get_by_role("heading", name="Mara Venn", level=1)).to_be_visible()
    hold = app.get_by_label("Holding")
    expect(hold).to_have_value("")
    expect(hold).to_have_attribute("placeholder", "0.06")  # the level's own, common practice
    before = file_of(app, "drivers", "mara-venn")
    hold.fill("0,05")
    hold.press("Tab")
    expect(app.get_by_role("button", name="Undo")).to_be_enabled()
    after = file_of(app, "drivers", "mara-venn")
    assert tomllib.loads(after)["hold_sd_frac"] == 0.05
    assert set(before.splitlines()) <= set(after.splitlines()), "comments and all stay"
    app.get_by_role("button", name="Undo").click()
    expect(hold).to_have_value("")
    assert file_of(app, "drivers", "mara-venn") == before
    hold.fill("5")
    hold.press("Tab")
    expect(app.get_by_role("alert").first).to_contain_text("allowed: 0.001 to 0.5")
    app.reload()
    expect(app.get_by_label("Holding")).to_have_value("5")
    assert file_of(app, "drivers", "mara-venn") == before


def test_a_level_becomes_a_driver(app: Any, expect: Any) -> None:
    app.open("/driver?driver=pro")
    expect(app.get_by_role("heading", name="Any pro driver", level=1)).to_be_visible()
    app.get_by_label("Name", exact=True).fill("Nela")
    app.get_by_role("button", name="Make it").click()
    expect(app.get_by_role("heading", name="Nela", level=1)).to_be_visible()
    assert 'level = "pro"' in file_of(app, "drivers", "nela")
    app.get_by_role("button", name="Put this driver on the desk").click()
    expect(app.get_by_label("Driver", exact=True)).to_have_value("drivers/nela")


def test_a_day_is_told_in_the_units_one_thinks_in(app: Any, expect: Any) -> None:
    """68 degrees Fahrenheit are 20 Celsius; 30 inches of mercury 1015.92 hPa (NIST SP 811)."""
    text = 'schema = "foreaft.conditions/1"\nid = "alp"\nname = "Alp"\n'
    (app.house.library / "conditions" / "alp.toml").write_text(text, "utf-8")
    app.open("/conditions/alp")
    app.get_by_role("button", name="km/h, m").click()
    temperature, pressure = app.get_by_label("Temperature"), app.get_by_label("Pressure")
    temperature.fill("68")
    temperature.press("Tab")
    expect(app.get_by_role("alert").first).to_contain_text("by temperature and pressure")
    pressure.fill("30")
    pressure.press("Tab")
    expect(app.get_by_role("alert")).to_have_count(0)
    expect(temperature).to_have_value("68")
    held = tomllib.loads(file_of(app, "conditions", "alp"))
    assert held["temperature_C"] == pytest.approx(20)
    assert held["pressure_hPa"] == pytest.approx(1015.92, abs=0.01)
    app.get_by_role("button", name="Undo").click()
    expect(temperature).to_have_value("")
    assert "temperature_C" not in file_of(app, "conditions", "alp")


def test_the_keyboard_and_a_phone_are_enough(app: Any, expect: Any) -> None:
    app.set_viewport_size({"width": 390, "height": 844})
    app.open("/conditions/wet")
    grip = app.get_by_label("Grip", exact=True)
    grip.focus()
    app.keyboard.press("Control+A")
    app.keyboard.type("0.7")
    app.keyboard.press("Tab")
    expect(app.get_by_role("button", name="Undo")).to_be_enabled()
    assert tomllib.loads(file_of(app, "conditions", "wet"))["grip_scale"] == 0.7
    assert app.evaluate("document.documentElement.scrollWidth") <= 390
