"""The job ``card``: one product of a plan by itself, as it is going to be printed."""

from __future__ import annotations

from pathlib import Path
from typing import Final, Literal

from foreaft.base.errors import InputError
from foreaft.jobs.limit import read_plan
from foreaft.jobs.products import first_step
from foreaft.jobs.requests import Request
from foreaft.model.answers import Envelope, Plan
from foreaft.report import briefing, sticker
from foreaft.report.typeset import to_pdf, to_png, to_svg

Product = Literal["sticker", "briefing"]
Format = Literal["svg", "pdf", "png"]
LONGEST_DATE: Final = 30


class CardRequest(Request):
    """What to print of which plan; ``wet`` is the plan for the back of the sticker."""

    plan: Path
    wet: Path | None = None
    product: Product = "sticker"
    units: Literal["metric", "imperial"] = "metric"
    date: str | None = None
    format: Format = "svg"


def card(request: CardRequest) -> list[bytes]:
    """Make one product: a page per picture (SVG, PNG), or one PDF of all pages.

    Raises
    ------
    InputError
        If a file holds no plan, or the date is too long to be printed.
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
    told = read_plan(request.plan)
    wet = None if request.wet is None else first_step(read_plan(request.wet).result)
    make = _sticker if request.product == "sticker" else _briefing
    return make(request, told, wet)


def _sticker(request: CardRequest, told: Envelope[Plan], wet: Plan | None) -> list[bytes]:
    plan, date = told.result, request.date
    if request.format == "svg":
        front = sticker.draw(plan, date=date)
        back = [] if wet is None else [sticker.draw(wet, wet=True, date=date)]
        return [page.encode() for page in (front, *back)]
    made = sticker.make(plan, wet, date)
    if request.format == "pdf":
        return [made["sticker.pdf"]]
    return [page for name, page in made.items() if name.endswith(".png")]


def _briefing(request: CardRequest, told: Envelope[Plan], wet: Plan | None) -> list[bytes]:
    data = briefing.gather(told, told.result, wet, request.units, request.date)
    files, shown = briefing.typeset_page(told.result, data, request.units)
    if request.format == "pdf":
        return [to_pdf(files, shown)]
    return (
        to_svg(files, shown) if request.format == "svg" else to_png(files, shown, briefing.PNG_PPI)
    )
