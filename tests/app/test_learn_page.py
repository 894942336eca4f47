"""What straight stops teach: from the log to a learned car that lies on the desk."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from foreaft.files.classes import demo_folder
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


def test_stops_teach_a_car_that_is_planned_with(app: Any, expect: Any, log: Path) -> None:
    app.open("/learn")
    app.locator("input[type=file]").set_input_files(log)
    app.get_by_role("button", name="Learn about Halden GT").click(timeout=LONG_MS)
    expect(app.get_by_role("heading", name="Before and after")).to_be_visible(timeout=LONG_MS)
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
