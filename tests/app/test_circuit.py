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


def test_one_setting_for_two_zones(app: Any, expect: Any) -> None:
    app.open("/circuit/brackwater")
    app.get_by_label("Step Out: one setting with Step In").check()
    expect(app.get_by_label("Step Out: Hand free")).to_have_value("0")


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
