"""The job ``card``: one product at a time, the same bytes however often it is changed."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from foreaft.base.errors import InputError
from foreaft.files.classes import demo_folder
from foreaft.jobs.card import CardRequest, card
from foreaft.jobs.common import to_json
from foreaft.jobs.live import Desk
from foreaft.jobs.plan import plan
from foreaft.jobs.products import hand_over
from foreaft.jobs.requests import PlanRequest
from foreaft.model.answers import Envelope, Plan
from foreaft.report import circuit_map

DEMO = Path(str(demo_folder()))


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A dry plan with its grip moved, and the one for the rain, as files."""
    folder = tmp_path_factory.mktemp("plans")
    days = [DEMO / "dry.toml", DEMO / "wet.toml"]
    files = {"car": DEMO / "car.toml", "circuit": DEMO / "brackwater.csv"}
    made = plan(PlanRequest(**files, conditions=days, samples=0, grip_scale=0.97))
    for name, one in zip(("dry", "wet"), made, strict=True):
        (folder / name).write_text(to_json(one), "utf-8")
    hand_over(made, folder / "whole", date="3 May")
    return folder / "dry", folder / "wet"


def test_products_are_those_that_are_handed_over(plans: tuple[Path, Path]) -> None:
    dry, wet = plans
    whole = dry.parent / "whole"
    desk = Desk()
    for product, kind, page, name in (
        ("sticker", "pdf", 1, "sticker.pdf"),
        ("sticker", "png", 1, "sticker.png"),
        ("sticker", "png", 2, "sticker-wet.png"),
        ("briefing", "pdf", 1, "briefing.pdf"),
        ("briefing", "png", 1, "briefing.png"),
    ):
        asked: dict[str, Any] = {"product": product, "format": kind, "page": page}
        made = card(CardRequest(plan=dry, wet=wet, date="3 May", **asked), desk)
        assert made == [(whole / name).read_bytes()], name


def test_on_low_grip_the_sticker_says_where_to_begin(plans: tuple[Path, Path]) -> None:
    """Its front too, when the plan for the rain is the only one printed."""
    told = Envelope[Plan].model_validate_json(plans[1].read_text("utf-8")).result
    assert told.first_step_setting is not None
    assert told.first_step_setting != told.lap_setting.setting
    [front] = card(CardRequest(plan=plans[1]))
    assert f"{told.first_step_setting:.1f} all lap" in front.decode()
    assert f"{told.lap_setting.setting:.1f}" not in front.decode()


def test_a_changed_date_draws_no_map_again(
    plans: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[float] = []
    real = circuit_map.draw

    def draw(*given: Any, **more: Any) -> str:
        drawn.append(more["tallest"])
        return real(*given, **more)

    monkeypatch.setattr(circuit_map, "draw", draw)
    desk, asked = Desk(), {"plan": plans[0], "product": "briefing"}
    [first] = card(CardRequest(**asked, date="3 May"), desk)
    count = len(drawn)
    assert count
    [other] = card(CardRequest(**asked, date="4 May"), desk)
    assert len(drawn) == count
    assert other != first
    assert card(CardRequest(**asked, date="3 May"), desk) == [first]
    card(CardRequest(**asked, units="imperial"), desk)  # its scale is in other units
    assert len(drawn) > count


def test_a_plan_saved_anew_is_drawn_anew(plans: tuple[Path, Path], tmp_path: Path) -> None:
    file, desk = tmp_path / "plan.json", Desk()
    file.write_bytes(plans[0].read_bytes())
    dry = card(CardRequest(plan=file), desk)
    file.write_bytes(plans[1].read_bytes())
    assert card(CardRequest(plan=file), desk) != dry


def test_a_side_that_is_not_there_is_refused(plans: tuple[Path, Path]) -> None:
    with pytest.raises(InputError) as told:
        card(CardRequest(plan=plans[0], format="png", page=2))
    assert told.value.key == "page"


def test_sides_are_pictures_of_the_stickers_size(plans: tuple[Path, Path]) -> None:
    """50 by 90 mm at 600 pixels an inch, black on white and white on black."""
    for page, corner in ((1, 255), (2, 0)):
        [made] = card(CardRequest(plan=plans[0], wet=plans[1], format="png", page=page))
        picture = Image.open(io.BytesIO(made)).convert("L")
        assert picture.size == (round(50 / 25.4 * 600), round(90 / 25.4 * 600))
        assert picture.getpixel((0, 0)) == corner


def test_moved_grip_stands_on_the_front_and_not_on_the_back(plans: tuple[Path, Path]) -> None:
    front, back = (one.decode() for one in card(CardRequest(plan=plans[0], wet=plans[1])))
    assert "for grip\u00a097\u00a0%" in front
    assert "grip" not in back
    page = (plans[0].parent / "whole" / "briefing.html").read_text("utf-8")
    assert "Planned with grip\u00a097\u00a0% (file: 100\u00a0%)." in page
