"""No label of the map lies on another, on the road, on the arrow of travel or on a line."""

from __future__ import annotations

from importlib.resources import as_file

import pytest

from foreaft.files.classes import demo_folder
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import PlanRequest
from foreaft.model.answers import Plan
from foreaft.report import briefing, circuit_map
from report import fixture
from report.map_reading import clashes
from report.test_svg import PLANS

HEIGHTS = [circuit_map.TALLEST, *(mm / briefing.MAP_MM_PER_PX for _, mm in briefing.LAYOUTS)]
TWENTY = [54.0] * 5 + [52.5] * 6 + [55.0] * 4 + [54.0] * 5
LONG = "The Long and Rather Tiresome Left-Hander behind Number "


def twenty() -> Plan:
    return fixture.plan(TWENTY, [f"{LONG}{i}" for i in range(20)])


def every() -> Plan:
    """Change the setting on the way to every second zone."""
    return fixture.plan([54.0, 52.5] * 6)


MAPS = {**PLANS, "twenty": twenty, "every": every}


@pytest.mark.parametrize("tallest", sorted(set(HEIGHTS)))
@pytest.mark.parametrize("kind", MAPS)
def test_no_label_hides_or_is_hidden(kind: str, tallest: float) -> None:
    assert clashes(circuit_map.draw(MAPS[kind](), tallest=tallest)) == []


@pytest.mark.parametrize("kind", MAPS)
def test_none_does_in_feet_either(kind: str) -> None:
    assert clashes(circuit_map.draw(MAPS[kind](), "imperial", tallest=min(HEIGHTS))) == []


def test_the_reader_sees_a_clash() -> None:
    """The test above can fail: the same picture with one label moved onto the road."""
    picture = circuit_map.draw(fixture.plan())
    road = picture.split('d="M')[1].split("L")[0].split()
    at = f'x="{road[0]}" y="{road[1]}" font-size="9.5"'
    first = picture.index('font-size="9.5"')
    start = picture.rindex("<text", 0, first)
    moved = picture[:start] + f"<text {at}" + picture[first + len('font-size="9.5"') :]
    assert any("on ink" in one for one in clashes(moved))


@pytest.fixture(scope="module")
def demo_plan() -> Plan:
    with as_file(demo_folder()) as data:
        request = PlanRequest(
            car=data / "car.toml",
            circuit=data / "brackwater.csv",
            driver=data / "driver.toml",
            conditions=[data / "dry.toml"],
            samples=0,
        )
        return plan(request)[0].result


@pytest.mark.parametrize("tallest", sorted(set(HEIGHTS)))
def test_the_map_of_the_demo_is_clean(demo_plan: Plan, tallest: float) -> None:
    assert clashes(circuit_map.draw(demo_plan, tallest=tallest)) == []
