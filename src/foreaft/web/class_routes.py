"""Routes of the classes of car: their text, and a car file made of one."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from foreaft.base.number import Number
from foreaft.files.classes import class_text, load_class
from foreaft.jobs.load import anchored
from foreaft.jobs.requests import Quick
from foreaft.model.fields import SLUG
from foreaft.web.changing import changed
from foreaft.web.faces import PastText as Text


class CarOfClass(BaseModel):
    """Id and name of the car, and what is known of its adjuster, if anything."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    id: Annotated[str, Field(pattern=SLUG, max_length=60)]
    name: Annotated[str, Field(min_length=1, max_length=60)]
    quick: Quick | None = None


def class_routes() -> APIRouter:
    """The routes of the classes; nothing is saved by them."""
    routes = APIRouter(tags=["overview"])

    @routes.get("/api/classes/{name}")
    def text_of_class(name: str) -> Text:
        """The commented file of a class."""
        return Text(text=class_text(name))

    @routes.post("/api/classes/{name}/car")
    def car_of_class(name: str, asked: CarOfClass) -> Text:
        """A car file made of a class, with the adjuster numbered as on the car."""
        changes: dict[str, Any] = {"id": asked.id, "name": asked.name}
        if asked.quick is not None:
            changes |= _adjuster(name, asked.quick)
        return Text(text=changed(class_text(name), changes))

    return routes


def _adjuster(name: str, quick: Quick) -> dict[str, Any]:
    """Keys of the adjuster and the anchor as a quick start sets them."""
    car = anchored(load_class(name), quick)
    adjuster, anchor = car.adjuster, car.anchor
    assert adjuster is not None  # a class has one, and `anchored` sets the other
    assert anchor is not None
    told = {
        "adjuster.min": adjuster.min,
        "adjuster.max": adjuster.max,
        "adjuster.step": adjuster.step,
        "adjuster.higher_means": adjuster.higher_means,
        "adjuster.reference_setting": adjuster.reference_setting,
        "adjuster.share_per_unit_frac": _plain(adjuster.share_per_unit_frac),
        "anchor.setting": anchor.setting,
        "anchor.first_to_let_go": anchor.first_to_let_go,
        "anchor.mid_corner": anchor.mid_corner,
    }
    return {key: value for key, value in told.items() if value is not None}


def _plain(number: Number | None) -> dict[str, Any] | None:
    if number is None:
        return None
    sizes = {part: getattr(number, part) for part in ("value", "sd", "low", "high")}
    told: dict[str, Any] = {k: float(f"{x:.6g}") for k, x in sizes.items() if x is not None}
    return told | ({"source": number.source} if number.source else {})
