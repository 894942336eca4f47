"""All products of one plan, written into a folder: same input, same bytes."""

from __future__ import annotations

from pathlib import Path

from foreaft.model.answers import Envelope, Plan
from foreaft.report import briefing, sticker
from foreaft.report.words import Units


def products(
    envelope: Envelope[Plan],
    plan: Plan,
    wet_plan: Plan | None = None,
    units: Units = "metric",
    date: str | None = None,
) -> dict[str, bytes]:
    """Make every product of a plan, by file name.

    Parameters
    ----------
    envelope : Envelope
        What surrounds the plan: version, warnings, cautions.
    plan : Plan
        The plan to be handed over.
    wet_plan : Plan, optional
        The same lap in the rain, for the back of the sticker.
    units : str
        ``metric`` or ``imperial``.
    date : str, optional
        Date to print; without one a line is left for the pen, so that nothing depends on the day.
    """
    drawn = briefing.figures(plan, units)
    data = briefing.gather(envelope, plan, wet_plan, units, date)
    made = {f"{name}.svg": picture.encode() for name, picture in drawn.items()}
    made |= briefing.make_page(plan, data, units)
    made["briefing.html"] = briefing.make_web(plan, data, units, drawn)
    return made | sticker.make(plan, wet_plan, date)


def write_products(
    envelope: Envelope[Plan],
    plan: Plan,
    folder: Path,
    wet_plan: Plan | None = None,
    units: Units = "metric",
    date: str | None = None,
) -> list[Path]:
    """Write every product of a plan into a folder that exists, and list what was written.

    Nothing is written before everything is made; the caller moves the folder into place.
    Arguments as in `products`.
    """
    made = products(envelope, plan, wet_plan, units, date)
    paths = []
    for name in sorted(made):
        path = folder / name
        path.write_bytes(made[name])
        paths.append(path)
    return paths
