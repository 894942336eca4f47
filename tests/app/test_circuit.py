"""Editing zones and zone sheets in the browser."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.browser


def test_a_zone_is_renamed_taken_back_and_still_there_after_a_reload(app: Any, expect: Any) -> None:
    app.open("/circuit/brackwater")
    marks = app.house.library / "circuits" / "brackwater" / "zones.csv"
    before = marks.read_bytes()
    cell = app.get_by_label("Weir: Zone")
    cell.fill("Old Weir")
    cell.press("Enter")
    expect(app.get_by_role("button", name="Undo")).to_be_enabled()
    expect(app.get_by_label("Old Weir: Gear")).to_be_visible()
    assert "Old Weir" in marks.read_text("utf-8")
    app.reload()
    expect(app.get_by_label("Old Weir: Zone")).to_have_value("Old Weir")
    app.get_by_label("Old Weir: Zone").fill("Weir Two")
    app.get_by_label("Weir Two: Zone").press("Enter")
    expect(app.get_by_text("Weir Two").first).to_be_attached()
    app.get_by_role("button", name="Undo").click()
    expect(app.get_by_label("Old Weir: Zone")).to_be_visible()
    assert marks.read_bytes() != before
    assert "Weir Two" not in marks.read_text("utf-8")


def test_a_wrong_cell_says_why_and_keeps_what_was_typed(app: Any, expect: Any) -> None:
    app.open("/circuit/brackwater")
    marks = app.house.library / "circuits" / "brackwater" / "zones.csv"
    before = marks.read_bytes()
    app.get_by_label("Lintel: Brake off").fill("3")
    app.get_by_label("Lintel: Brake off").press("Enter")
    expect(app.get_by_role("alert").first).to_contain_text("0 to 1")
    assert marks.read_bytes() == before
    app.reload()
    expect(app.get_by_label("Lintel: Brake off")).to_have_value("3")
    app.get_by_label("Lintel: Brake off").fill("0,8")
    app.get_by_label("Lintel: Brake off").press("Enter")
    expect(app.get_by_role("button", name="Undo")).to_be_enabled()
    assert "0.8" in marks.read_text("utf-8").splitlines()[1]


def test_undo_takes_a_refused_cell_back(app: Any, expect: Any) -> None:
    app.open("/circuit/brackwater")
    cell = app.get_by_label("Mill: Brake off")
    before = cell.input_value()
    cell.fill("7")
    cell.press("Enter")
    expect(app.get_by_role("alert").first).to_contain_text("Mill, Brake off: 7 is outside")
    app.get_by_role("button", name="Undo").click()
    expect(cell).to_have_value(before)
    expect(app.get_by_role("alert")).to_have_count(0)
    expect(app.get_by_role("button", name="Undo")).to_be_disabled()
    app.get_by_role("button", name="Redo").click()
    expect(cell).to_have_value("7")
    app.get_by_role("button", name="Put back what is saved").click()
    expect(cell).to_have_value(before)


def test_joined_zones_say_what_they_are_now_and_come_apart_again(app: Any, expect: Any) -> None:
    app.open("/circuit/brackwater")
    hand = app.get_by_label("Step Out: Hand free")
    before = hand.input_value()
    app.get_by_label("Step Out: one setting with Step In").check()
    expect(hand).to_have_value("0")
    said = app.get_by_role("status").filter(has_text="now have one setting")
    expect(said).to_contain_text("Step In and Step Out now have one setting")
    said.get_by_role("button", name="Undo").click()
    expect(hand).to_have_value(before)
    expect(app.get_by_label("Step Out: one setting with Step In")).not_to_be_checked()


def test_the_whole_table_is_in_sight(app: Any, expect: Any) -> None:
    for path in ("/circuit/brackwater", "/sheet/eight-corners"):
        app.set_viewport_size({"width": 1400, "height": 900})
        app.open(path)
        table = app.locator(".gridbox")
        expect(table.get_by_role("row").nth(3)).to_be_visible()
        assert table.evaluate("(box) => box.scrollWidth - box.clientWidth") == 0
        app.set_viewport_size({"width": 390, "height": 844})
        assert table.evaluate("(box) => box.scrollWidth - box.clientWidth") == 0
        gear = table.get_by_label("Mill: Gear")
        expect(gear).to_be_hidden()
        app.get_by_role("button", name="Mill: all columns").click()
        expect(gear).to_be_visible()
        box = gear.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390


def test_a_sheet_in_miles_and_feet(app: Any, expect: Any) -> None:
    """255 km/h are 158.4 mph; what is typed in miles is kept in the units of the file."""
    app.open("/sheet/eight-corners")
    sheet = app.house.library / "sheets" / "eight-corners.csv"
    row = next(one for one in sheet.read_text("utf-8").splitlines() if one.startswith("Long Acre"))
    app.get_by_role("button", name="km/h").click()
    expect(app.get_by_label("Quarry Hairpin: Brakes from")).to_have_value("158.4")
    cell = app.get_by_label("Last: Brakes from")
    cell.fill("900")
    cell.press("Enter")
    alert = app.get_by_role("alert").first
    expect(alert).to_contain_text("Last, Brakes from: 900 is outside")
    expect(alert).to_contain_text("280 mph")
    cell.fill("120")
    cell.press("Enter")
    expect(alert).to_have_count(0)
    kept = sheet.read_text("utf-8").splitlines()
    assert row in kept  # untouched cells are not rewritten in rounded units
    last = next(one for one in kept if one.startswith("Last"))
    assert float(last.split(",")[1]) == pytest.approx(120 * 1.609344, abs=1e-3)
    app.get_by_role("button", name="mph").click()


def test_a_new_corner_is_saved_once_it_is_whole(app: Any, expect: Any) -> None:
    app.open("/sheet/eight-corners")
    sheet = app.house.library / "sheets" / "eight-corners.csv"
    app.get_by_role("button", name="Add a corner").click()
    expect(
        app.get_by_text("Corner 9 still needs: Brakes from, Lowest, Radius or load.")
    ).to_be_visible()
    for column, typed in (("Brakes from", "200"), ("Lowest", "100")):
        cell = app.get_by_label(f"Corner 9: {column}")
        cell.fill(typed)
        cell.press("Enter")
    expect(app.get_by_text("Corner 9 still needs: Radius or load.")).to_be_visible()
    assert "Corner 9" not in sheet.read_text("utf-8")
    app.get_by_label("Corner 9: Radius").fill("70")
    with app.expect_response(lambda one: one.request.method == "PUT") as saved:
        app.get_by_label("Corner 9: Radius").press("Enter")
    assert saved.value.ok
    expect(app.get_by_text("still needs")).to_have_count(0)
    expect(app.get_by_role("alert")).to_have_count(0)
    assert "Corner 9,200,100" in sheet.read_text("utf-8")


def test_a_sheet_takes_cells_from_a_spreadsheet(app: Any, expect: Any) -> None:
    app.open("/sheet/eight-corners")
    expect(app.get_by_label("Quarry Hairpin: Brakes from")).to_have_value("255")
    app.get_by_label("Quarry Hairpin: Brakes from").evaluate(
        """(cell) => {
            const data = new DataTransfer();
            data.setData("text", "240\\t60\\n200\\t100\\n");
            const told = {clipboardData: data, bubbles: true, cancelable: true};
            cell.dispatchEvent(new ClipboardEvent("paste", told));
        }"""
    )
    expect(app.get_by_label("Mill: Brakes from")).to_have_value("200")
    expect(app.get_by_label("Quarry Hairpin: Lowest")).to_have_value("60")
    expect(app.get_by_role("button", name="Undo")).to_be_enabled()
    sheet = (app.house.library / "sheets" / "eight-corners.csv").read_text("utf-8")
    assert "Mill,200,100" in sheet
