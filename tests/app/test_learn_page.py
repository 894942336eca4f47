"""What straight stops teach: from the log to a learned car that lies on the desk."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from foreaft.files.classes import demo_folder
from foreaft.files.toml import read_car
from foreaft.jobs.record import record
from foreaft.jobs.requests import RecordRequest

pytestmark = [pytest.mark.browser, pytest.mark.slow]

DEMO = Path(str(demo_folder()))
LONG_MS = 240_000


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three straight stops at each end of the adjuster, with everything a logger can hold."""
    asked = RecordRequest(
        car=DEMO / "car.toml", stops=3, settings=[60.0, 48.0], effort=[0.6, 0.9], logger="full"
    )
    return Path(record(asked, tmp_path_factory.mktemp("stops")).files[0])


def learn(app: Any, expect: Any, log: Path) -> None:
    """Bring in the log, and learn unless the page still has the answer."""
    app.open("/learn")
    app.locator("input[type=file]").set_input_files(log)
    begin = app.get_by_role("button", name=re.compile("^Learn (about|again)"))
    expect(begin).to_be_enabled(timeout=LONG_MS)
    told = app.get_by_role("heading", name="Before and after")
    if told.count() == 0:
        begin.click()
    expect(told).to_be_visible(timeout=LONG_MS)


def test_the_lock_is_told_beside_the_slip_and_pressures_are_in_bar(
    app: Any, expect: Any, log: Path
) -> None:
    learn(app, expect, log)
    told = app.get_by_role("region", name="Crossovers")
    # Half steps: one decimal, and half the interval's width beside it.
    number = re.compile(r"^\d\d\.\d ±\d\.\d$")
    expect(told.locator(".big")).to_have_text([number, number])
    alike, lock = told.get_by_role("heading").all()
    expect(alike).to_have_text("Both ends slip alike at")
    expect(lock).to_have_text("In a straight stop both ends lock together at")
    # Which end goes first is said of the lock, and of no other setting.
    shown = told.locator(".big").nth(1).inner_text().split()[0]
    said = told.inner_text()
    assert f"Further to the rear than {shown} a rear wheel locks first" in said
    assert said.count("first") == 1
    numbers = app.get_by_role("region", name="Before and after")
    expect(numbers).to_contain_text("g per 10 bar")
    assert not re.search(r"\bPa\b|\w_\w", numbers.inner_text())


def test_a_setting_that_is_no_number_is_said_at_its_field_and_kept(
    app: Any, expect: Any, log: Path
) -> None:
    learn(app, expect, log)
    app.get_by_text("The logs do not hold the setting?").click()
    field = app.get_by_label(log.name, exact=True)
    field.fill("56 or so")
    expect(app.get_by_text("“56 or so” is not a number")).to_be_visible()
    again = app.get_by_role("button", name="Learn again")
    expect(again).to_be_disabled()
    app.reload()
    expect(field).to_have_value("56 or so", timeout=LONG_MS)
    expect(field).to_have_attribute("aria-invalid", "true")
    field.fill("")
    expect(again).to_be_enabled(timeout=LONG_MS)


def test_an_answer_to_former_choices_says_so_and_is_what_is_kept(
    app: Any, expect: Any, log: Path
) -> None:
    learn(app, expect, log)
    older = app.get_by_text(re.compile(r"before other things were chosen: [^.]+\. Keeping it"))
    expect(older).to_have_count(0)
    app.get_by_role("combobox", name="Conditions").select_option(label="Wet")
    expect(older).to_be_visible()
    expect(older).to_contain_text("the conditions")
    app.get_by_label("Name of the learned car").fill("Halden, of a dry day")
    app.get_by_role("button", name="Keep it and put it on the desk").click()
    expect(app.get_by_text("Halden, of a dry day is kept")).to_be_visible()
    kept = read_car(app.house.library / "cars" / "halden-of-a-dry-day.toml")
    learned = [*(app.house.library / "works").glob("learn-*/**/car.toml")]
    assert learned
    assert all(kept.mass_kg == read_car(one).mass_kg for one in learned)
    app.get_by_role("combobox", name="Conditions").select_option(label="Dry")
    app.get_by_role("combobox", name="Car").select_option(label="Halden GT")
    expect(older).to_have_count(0)


def test_stops_teach_a_car_that_is_planned_with(app: Any, expect: Any, log: Path) -> None:
    learn(app, expect, log)
    told = app.get_by_role("heading", name="Both ends slip alike at")
    expect(told).to_be_visible()
    app.reload()
    expect(told).to_be_visible(timeout=LONG_MS)
    app.get_by_label("Name of the learned car").fill("Halden, learned")
    app.get_by_role("button", name="Keep it and put it on the desk").click()
    expect(app.get_by_text("Halden, learned is kept and lies on the desk")).to_be_visible()
    assert (app.house.library / "cars" / "halden-learned.toml").is_file()
    expect(app.get_by_role("combobox", name="Car")).to_have_value("cars/halden-learned")
    app.get_by_role("button", name="Plan with it").click()
    expect(app.get_by_role("heading", name="Plan")).to_be_visible()


def test_a_log_without_wheels_says_what_it_cannot_tell(
    app: Any, expect: Any, log: Path, tmp_path: Path
) -> None:
    bare = tmp_path / "bare.csv"
    bare.write_text("time [s],speed [m/s]\n" + "".join(f"{i / 10},{40}\n" for i in range(300)))
    app.open("/learn")
    app.locator("input[type=file]").set_input_files(bare)
    app.get_by_role("button", name="Learn about Halden GT").click(timeout=LONG_MS)
    said = app.get_by_text("cannot be told yet").or_(app.get_by_role("alert")).first
    expect(said).to_be_visible(timeout=LONG_MS)
