"""The job ``card``: one product of a plan by itself, as it is going to be printed."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from pydantic import Field

from foreaft.base.errors import InputError
from foreaft.jobs.limit import read_plan
from foreaft.jobs.live import Desk
from foreaft.jobs.products import first_step
from foreaft.jobs.requests import Request
from foreaft.jobs.situation import content_of
from foreaft.model.answers import Envelope, Plan
from foreaft.report import briefing, circuit_map, sticker
from foreaft.report.typeset import to_pdf, to_png, to_svg
from foreaft.report.words import Units

Product = Literal["sticker", "briefing"]
Format = Literal["svg", "pdf", "png"]
LONGEST_DATE: Final = 30


class CardRequest(Request):
    """What to print of which plan; ``wet`` is the plan for the back of the sticker.

    A picture (PNG) is of one ``page``: 1 is the front, 2 the back.
    """

    plan: Path
    wet: Path | None = None
    product: Product = "sticker"
    units: Literal["metric", "imperial"] = "metric"
    date: str | None = None
    format: Format = "svg"
    page: int = Field(default=1, ge=1, le=2)


@dataclass(frozen=True, eq=False)
class _Told:
    """A plan as it was read, and what it was found by."""

    answer: Envelope[Plan]
    key: Hashable


def card(request: CardRequest, desk: Desk | None = None) -> list[bytes]:
    """Make one product: SVG by page, one PDF of all pages, or one page as PNG.

    ``desk`` keeps plans and maps, so that a card that is changed again is soon drawn again.

    Raises
    ------
    InputError
        If a file holds no plan, the date is too long to be printed, or there is no such page.
    MissingPart
        If the typesetter is not installed.
    """
    if request.date is not None and len(request.date) > LONGEST_DATE:
        raise InputError(
            "The date is too long to be printed.",
            code="not_allowed",
            key="date",
            value=request.date[:60],
            allowed=f"up to {LONGEST_DATE} letters",
            unit="",
            hint="Shorten it, or leave it out: then there is a line for the pen.",
        )
    desk = desk or Desk()
    told = _read(request.plan, desk)
    wet = None if request.wet is None else first_step(_read(request.wet, desk).answer.result)
    if request.product == "briefing":
        return _briefing(request, told, wet, desk)
    # The sticker is what is driven today: on low grip the first half of the way (decision 11).
    return _sticker(request, first_step(told.answer.result), wet)


def _read(file: Path, desk: Desk) -> _Told:
    key = ("plan", content_of(file))
    return desk.kept(key, lambda: _Told(read_plan(file), key))


def _sticker(request: CardRequest, plan: Plan, wet: Plan | None) -> list[bytes]:
    date = request.date
    if request.format == "svg":
        front = sticker.draw(plan, date=date)
        back = [] if wet is None else [sticker.draw(wet, wet=True, date=date)]
        return [page.encode() for page in (front, *back)]
    files, shown = sticker.typeset(plan, wet, date)
    if request.format == "pdf":
        return [to_pdf(files, shown)]
    return [_page(to_png(files, shown, sticker.PNG_PPI), request.page)]


def _briefing(request: CardRequest, told: _Told, wet: Plan | None, desk: Desk) -> list[bytes]:
    plan, units = told.answer.result, request.units

    def draw_map(plan: Plan, units: Units, *, tallest: float) -> str:
        key = ("map", told.key, units, tallest)
        return desk.kept(key, lambda: circuit_map.draw(plan, units, tallest=tallest))

    data = briefing.gather(told.answer, plan, wet, units, request.date)
    files, shown = briefing.typeset_page(plan, data, units, draw_map)
    if request.format == "pdf":
        return [to_pdf(files, shown)]
    if request.format == "svg":
        return to_svg(files, shown)
    return [_page(to_png(files, shown, briefing.PNG_PPI), request.page)]


def _page(pages: list[bytes], number: int) -> bytes:
    if number > len(pages):
        raise InputError(
            "There is no such page.",
            code="not_allowed",
            key="page",
            value=number,
            allowed=f"1 to {len(pages)}",
            unit="",
            hint="Only a sticker with a plan for the rain has a back.",
        )
    return pages[number - 1]
