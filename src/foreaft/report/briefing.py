"""The briefing: one A5 page to learn the plan from, and the same with all reasons as a web page.

This module gathers what both say; the looks are in ``templates``.
"""

from __future__ import annotations

import json
from itertools import groupby
from typing import Any, Final, Literal, Protocol

from foreaft.model.answers import Envelope, Plan, ZonePlan
from foreaft.report import circuit_map, distance, notes, share, staircase, style, words
from foreaft.report.changes import Change, base_setting, changes, codes
from foreaft.report.html import TEMPLATES, html_template
from foreaft.report.measure import shorten
from foreaft.report.sticker import CHANGES_MOST, hardly_worth
from foreaft.report.typeset import Files, to_pdf, to_png
from foreaft.report.webfont import WEB_FAMILY, face_css
from foreaft.report.words import Units

Table = Literal["reasons", "zones", "grid", "changes"]

PNG_PPI: Final = 200.0
COARSE_PPI: Final = 10.0
"""Enough to count pages."""

ZONES_MOST: Final = 14
"""More zones than this are not given a row each."""

REASONS_MOST: Final = 6
"""More zones than this have no room for their whole reasons on the page."""

LAYOUTS: Final[tuple[tuple[Table, float], ...]] = (
    ("reasons", 72.0),
    ("zones", 72.0),
    ("zones", 60.0),
    ("grid", 86.0),
    ("changes", 86.0),
    ("changes", 60.0),
)
"""Tables and heights of the map in millimetres, the fullest first; the first that fits is taken.

Lower than 60 mm a map of twelve zones has no room for its labels.
"""

MAP_MM_PER_PX: Final = 130.0 / style.FIGURE_WIDTH
"""The map always takes the page's whole width; only its height gives way."""

NAME_PT: Final = 56.0
TITLE_PT: Final = 250.0
SIDE_PT: Final = 105.0
"""Room for names on the page: in a row, in the title, beside it."""

Data = dict[str, Any]


class DrawMap(Protocol):
    """Draws the circuit of a plan, no taller than said."""

    def __call__(self, plan: Plan, units: Units, *, tallest: float) -> str:
        """Draw it as SVG."""


def gather(
    envelope: Envelope[Plan], plan: Plan, wet: Plan | None, units: Units, date: str | None
) -> Data:
    """Put everything both briefings say into plain values, ready to be shown."""
    step = plan.adjuster.step
    moved = changes(plan)
    return {
        "car": plan.car_name,
        "circuit": plan.circuit_name,
        "driver": plan.driver_name,
        "conditions": plan.conditions_name,
        "date": date or "",
        "moved": words.say_moved(plan.moved),
        "direction": words.direction_of(plan.adjuster.higher_means),
        "lap": words.format_setting(plan.lap_setting.setting, step),
        "base": words.format_setting(base_setting(plan), step),
        "panic": words.format_setting(plan.panic_setting, step),
        "lost": words.when_lost(words.format_setting(plan.panic_setting, step)),
        "hardly": hardly_worth(plan),
        "wet": words.format_setting(wet.lap_setting.setting, step) if wet else "",
        "anchor": _anchor(plan),
        "zones": _zones(plan, units),
        "moves": [_move(plan, change) for change in moved],
        "runs": _runs(plan),
        "sticker_note": _sticker_note(moved),
        "sure": notes.sure(plan),
        "notes": notes.notes(plan, [one.text for one in envelope.warnings], _anchor(plan)),
        "matters": [_matter(one) for one in plan.matters[: notes.MATTERS_MOST]],
        "warnings": [words.sentence(warning.text) for warning in envelope.warnings],
        "cautions": envelope.cautions or words.cautions(),
        "model": f"foreaft {envelope.version}, model {envelope.model_version}, "
        f"request {envelope.request_sha256[:12]}, seed {envelope.seed}",
    }


def _anchor(plan: Plan) -> str:
    if not plan.relative_to_anchor or plan.anchor_setting is None:
        return ""
    today = words.format_setting(plan.anchor_setting, plan.adjuster.step)
    return f"All settings are relative to the {today} run today; keep to them only if that was so."


def _zones(plan: Plan, units: Units) -> list[Data]:
    moved = {change.before: change for change in changes(plan)}
    return [
        _zone(plan, zone, code, moved.get(index), units)
        for index, (zone, code) in enumerate(zip(plan.zones, codes(plan), strict=True))
    ]


def _zone(plan: Plan, zone: ZonePlan, code: str, moved: Change | None, units: Units) -> Data:
    step = plan.adjuster.step
    sure = zone.setting_sure_frac
    speeds = (zone.approach_speed_mps, zone.apex_speed_mps)
    return {
        "id": zone.zone_id,
        "code": code,
        "name": zone.name,
        "short_name": "" if zone.name.upper() == code else shorten(zone.name, NAME_PT, 6.6),
        "setting": words.format_setting(zone.setting, step),
        "unsure": zone.advice == "cannot_tell",
        "flat": zone.advice == "no_matter",
        "change": _move(plan, moved) if moved else None,
        "axle": zone.limiting_axle,
        "limit": f"{zone.limiting_axle}, {words.PHASES_SHORT[zone.limiting_phase]}",
        "phase": words.PHASES_SHORT[zone.limiting_phase],
        "margin": words.format_percent(zone.margin_frac),
        "sure": words.format_percent(sure) if sure is not None else "",
        "cause": words.sentence(words.CAUSES_SHORT[zone.cause]),
        "feel": words.feel(zone.limiting_axle, zone.limiting_phase),
        "feel_short": words.FEELINGS_SHORT[zone.limiting_axle, zone.limiting_phase],
        "reason": zone.reason,
        "settles": zone.settles or "",
        "speeds": " to ".join(words.format_speed(speed, units) for speed in speeds),
        "chances": f"front {words.format_chance(zone.p_front)}, "
        f"rear {words.format_chance(zone.p_rear)}",
        "own": _own(zone, step),
        "flat_band": f"{words.format_setting(zone.flat_low, step)} to "
        f"{words.format_setting(zone.flat_high, step)}",
    }


def _own(zone: ZonePlan, step: float) -> str:
    """Say what the zone would want if it were alone on the lap."""
    own = words.format_setting(zone.own_setting, step)
    if own == words.format_setting(zone.setting, step) or zone.own_gain_s < words.NO_TIME_S:
        return ""
    return f"alone it would want {own}, worth {words.format_loss(zone.own_gain_s)}"


def _move(plan: Plan, change: Change) -> Data:
    short, zone = codes(plan), plan.zones[change.before]
    hand = ""
    if change.hand_needed_s is not None and change.hand_time_s is not None:
        hand = f"{change.hand_needed_s:.1f} s of {change.hand_time_s:.1f} s"
    return {
        "after": short[change.after],
        "before": short[change.before],
        "setting": words.format_setting(change.setting, plan.adjuster.step),
        "steps": words.count_steps(change.steps),
        "number": abs(change.steps),
        "axle": change.axle,
        "letter": style.LETTER[change.axle],
        "hand": hand,
        "cause": words.sentence(words.CAUSES_SHORT[zone.cause]),
        "feel": words.FEELINGS_SHORT[zone.limiting_axle, zone.limiting_phase],
    }


def _runs(plan: Plan) -> list[str]:
    """Say the lap as stretches of zones that share a setting."""
    step, found = plan.adjuster.step, []
    paired = zip(plan.zones, codes(plan), strict=True)
    for shown, run in groupby(paired, key=lambda p: words.format_setting(p[0].setting, step)):
        short = [code for _, code in run]
        place = short[0] if len(short) == 1 else f"{short[0]} to {short[-1]}"
        found.append(f"{place}: {shown}")
    return found


def _sticker_note(moved: list[Change]) -> str:
    if len(moved) <= CHANGES_MOST:
        return ""
    return (
        f"The {len(moved)} changes do not fit the sticker, which holds {CHANGES_MOST}: "
        "it carries the lap setting only."
    )


def _matter(matter: Any) -> Data:
    return {
        "key": words.sentence(matter.label).rstrip("."),
        "share": words.format_percent(matter.share_of_spread_frac),
        "measurement": matter.measurement,
    }


def make_page(plan: Plan, data: Data, units: Units) -> dict[str, bytes]:
    """Make the A5 page as PDF and PNG."""
    files, shown = typeset_page(plan, data, units)
    pdf, png = to_pdf(files, shown), to_png(files, shown, PNG_PPI)
    return {"briefing.pdf": pdf, "briefing.png": png[0]}


def typeset_page(
    plan: Plan, data: Data, units: Units, draw_map: DrawMap = circuit_map.draw
) -> tuple[Files, str]:
    """Give source and text of the A5 page: as much about every zone as one page holds.

    ``draw_map`` is for whoever keeps the pictures of a plan that is set again and again.

    Raises
    ------
    ValueError
        If even the short table runs over the page: a mistake of the layout, not of the user.
    """
    data = data | _short_title(plan)
    count = len(plan.zones)
    for table, map_mm in LAYOUTS[(count > REASONS_MOST) + 2 * (count > ZONES_MOST) :]:
        picture = draw_map(plan, units, tallest=map_mm / MAP_MM_PER_PX)
        least = notes.count_to(
            data["notes"], notes.ENOUGH_RANK if table in ("reasons", "zones") else 0
        )
        page = _fullest(data | {"table": table}, picture, least)
        if page is not None:
            return page
    raise ValueError("the briefing does not fit one page")


def _fullest(data: Data, picture: str, least: int) -> tuple[Files, str] | None:
    """Put as many notes below a table as one page holds; None if it does not hold the least."""
    everything: list[notes.Note] = data["notes"]
    if _fits(page := _page(data, picture, len(everything))):
        return page
    low, high, best = least, len(everything) - 1, None
    while low <= high:
        count = low if best is None else (low + high + 1) // 2
        if _fits(page := _page(data, picture, count)):
            low, best = count + 1, page
        elif best is None:
            return None
        else:
            high = count - 1
    return best


def _page(data: Data, picture: str, count: int) -> tuple[Files, str]:
    values = data | {"notes": notes.kept(data["notes"], count)}
    shown = json.dumps(values, ensure_ascii=False, sort_keys=True)
    files: Files = {
        "main.typ": (TEMPLATES / "briefing.typ").read_bytes(),
        "data.json": shown.encode(),
        "map.svg": picture.encode(),
    }
    return files, shown


def _fits(page: tuple[Files, str]) -> bool:
    return len(to_png(*page, COARSE_PPI)) == 1


def _short_title(plan: Plan) -> Data:
    """Cut the names of the title to its width on paper; the web page has them whole."""
    return {
        "circuit": shorten(plan.circuit_name, TITLE_PT, 14.0, "bold"),
        "car": shorten(plan.car_name, TITLE_PT, 9.0),
        "driver": shorten(plan.driver_name, SIDE_PT, 7.5),
        "conditions": shorten(plan.conditions_name, SIDE_PT, 7.5),
    }


def make_web(plan: Plan, data: Data, units: Units, pictures: dict[str, str]) -> bytes:
    """Make the self-contained web page: no script, no request, prints on A4 and A5."""
    step = plan.adjuster.step
    shown = data | {
        "pictures": pictures,
        "light": style.LIGHT,
        "dark": style.DARK,
        "dark_css": style.colour_css(style.DARK),
        "light_css": style.colour_css(style.LIGHT),
        "frontier": _frontier(plan),
        "costs": _costs(plan),
        "attention": words.format_loss(plan.change_cost_s),
        "step": words.format_setting(step, step),
    }
    page: str = html_template("briefing").render(shown | {"family": WEB_FAMILY})
    return page.replace("/*faces*/", face_css(page), 1).encode()


def _frontier(plan: Plan) -> list[Data]:
    """Give gain and its parts by number of changes; a row that repeats the last is left out."""
    rows: list[Data] = []
    for point in plan.frontier:
        parts = (
            point.limit_s,
            point.margin_s,
            point.risk_s,
            point.rotation_s,
            point.attention_s,
            point.forgotten_s,
        )
        row = {
            "changes": point.changes,
            "gain": f"{(plan.frontier[0].cost_us - point.cost_us) / 1e6:+.3f}",
            "parts": [f"{part:+.3f}" for part in parts],
            "chosen": point.changes == plan.total.changes,
        }
        if row not in rows:
            rows.append(row)
    return rows


def _costs(plan: Plan) -> list[Data]:
    """Give every setting's loss in every zone, in thousandths of a second."""
    columns = [
        {
            _place(plan, cell.setting): loss
            for cell, loss in zip(zone.field, staircase.losses_s(zone), strict=True)
        }
        for zone in plan.zones
    ]
    chosen = [_place(plan, zone.setting) for zone in plan.zones]
    rows = []
    for place in sorted({place for column in columns for place in column}):
        cells = []
        for column, own in zip(columns, chosen, strict=True):
            loss = column.get(place)
            cells.append(
                {
                    "loss": "" if loss is None else f"{1000 * loss:.0f}",
                    "chosen": place == own,
                }
            )
        setting = plan.adjuster.min + place * plan.adjuster.step
        shown = words.format_setting(setting, plan.adjuster.step)
        rows.append({"setting": shown, "cells": cells})
    return rows


def _place(plan: Plan, setting: float) -> int:
    """Count the steps from the lowest setting of the adjuster."""
    return round((setting - plan.adjuster.min) / plan.adjuster.step)


def figures(plan: Plan, units: Units) -> dict[str, str]:
    """Draw all pictures of a plan, by name."""
    drawn = {
        "staircase": staircase.draw(plan),
        "map": circuit_map.draw(plan, units),
        "distance": distance.draw(plan, units),
    }
    for number, zone in enumerate(plan.zones, 1):
        name = f"share-{number:02d}"
        drawn[name] = share.draw(plan, zone, units, name)
    return drawn
