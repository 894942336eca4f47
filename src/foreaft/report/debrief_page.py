"""The debrief as one web page and as a PDF: same words, same pictures, same bytes every time."""

from __future__ import annotations

import json
from collections.abc import Sequence
from statistics import median
from typing import Any, Final

from foreaft.logs.channels import in_words
from foreaft.model.answers import Envelope
from foreaft.model.answers_debrief import Debrief, DebriefEvent, DebriefZone
from foreaft.report import debrief_cloud, debrief_strips, style
from foreaft.report import debrief_words as words
from foreaft.report.debrief_data import ZoneStrips
from foreaft.report.html import TEMPLATES, html_template
from foreaft.report.typeset import Files, to_pdf
from foreaft.report.webfont import WEB_FAMILY, face_css
from foreaft.report.words import (
    Units,
    cautions,
    format_length,
    format_percent,
    format_speed,
    length_number,
    length_unit,
)

Data = dict[str, Any]

LAPS_MOST: Final = 60
"""More laps than this are not listed one by one."""


def products(
    envelope: Envelope[Debrief], strips: Sequence[ZoneStrips], units: Units = "metric"
) -> dict[str, bytes]:
    """Make page, PDF and pictures, by file name.

    Parameters
    ----------
    strips : sequence of ZoneStrips
        One per zone of the debrief, in its order.
    """
    pictures: dict[str, str] = {}
    for number, zone in enumerate(strips, 1):
        pictures[f"strips-{number:02d}"] = debrief_strips.draw(zone, units, f"strips-{number:02d}")
        pictures[f"cloud-{number:02d}"] = debrief_cloud.draw(zone, f"cloud-{number:02d}")
    data = gather(envelope, units)
    made = {f"{name}.svg": picture.encode() for name, picture in pictures.items()}
    made["debrief.html"] = _web(data, pictures)
    made["debrief.pdf"] = _paper(data, made)
    return made


def gather(envelope: Envelope[Debrief], units: Units) -> Data:
    """Put everything both pages say into plain values, ready to be shown."""
    result = envelope.result
    full = sorted(lap.duration_s for lap in result.laps if lap.kind == "full")
    return {
        "driver": result.driver_name,
        "circuit": result.circuit_name,
        "car": result.car_name or "",
        "best": f"{full[0]:.2f} s" if full else "none",
        "middle": f"{median(full):.2f} s" if full else "none",
        "counted": _counted(result),
        "method": _METHODS[result.lap_method],
        "made": _made(result, units),
        "sessions": words.sessions(len(result.runs)),
        "work_on": [one.text for one in result.work_on],
        "laps_said": result.laps_said,
        "even_said": result.even_said,
        "unit": length_unit(units),
        "zones": [_zone(result, zone, units) for zone in result.zones],
        "events": _events(result),
        "plan": [row for zone in result.zones for row in _plan(zone, units)],
        "plan_said": result.plan_said,
        "other": result.other_name or "",
        "other_said": result.other_said,
        **_differences(result.zones, units),
        "laps": [
            {
                "id": lap.lap_id,
                "kind": lap.kind,
                "time": f"{lap.duration_s:.2f} s",
                "full": lap.kind == "full",
            }
            for lap in result.laps[:LAPS_MOST]
        ],
        "untold": [
            {"what": one.what, "because": one.because, "settles": one.would_settle}
            for one in result.cannot_tell
        ],
        "warnings": [one.text for one in envelope.warnings],
        "log_notes": result.log_notes,
        "cautions": envelope.cautions or cautions(),
        "model": f"foreaft {envelope.version}, model {envelope.model_version}, "
        f"log {result.run.run_id}, request {envelope.request_sha256[:12]}",
    }


_METHODS: Final = {
    "counter": "the logger's lap counter",
    "distance": "the logged distance starting again",
    "line": "crossing the start line",
    "loop": "coming back to the same place",
    "signature": "the corners repeating themselves",
}


def _counted(result: Debrief) -> str:
    kinds = [lap.kind for lap in result.laps]
    return ", ".join(f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds))


def _made(result: Debrief, units: Units) -> str:
    circuit = result.circuit
    if circuit.closure_gap_m is None:
        return ""
    how = "position" if circuit.made_from == "position" else "speed and turning"
    return (
        f"The circuit was made from the log's {how}: {format_length(circuit.length_m, units)} "
        f"long, closing to {format_length(circuit.closure_gap_m, units, 1)}."
    )


def _middle(zone: DebriefZone, measure: str) -> float | None:
    return next((one.median for one in zone.scatter if one.measure == measure), None)


def _shown(zone: DebriefZone, measure: str, units: Units) -> str:
    value = _middle(zone, measure)
    if value is None:
        return ""
    return words.show(measure, value, units)


def _zone(result: Debrief, zone: DebriefZone, units: Units) -> Data:
    sd = words.sd_of(zone, "brake_s_m")
    depth_sd = words.sd_of(zone, "depth_frac")
    own = [one for one in result.events if one.zone_id == zone.zone_id]
    speeds = [
        _shown(zone, name, units).removesuffix(" km/h").removesuffix(" mph")
        for name in ("approach_speed_mps", "min_speed_mps")
    ]
    share = [
        one.pressure_share_frac
        for one in result.passes
        if one.zone_id == zone.zone_id and one.pressure_share_frac is not None
    ]
    return {
        "id": zone.zone_id,
        "name": zone.name,
        "speeds": " to ".join(speeds) + (" km/h" if units == "metric" else " mph"),
        "brake": _shown(zone, "brake_s_m", units),
        "brake_sd": "" if sd is None else f"± {length_number(sd, units):.1f}",
        "mfdd": _shown(zone, "mfdd_mps2", units),
        "peak": _shown(zone, "peak_decel_mps2", units),
        "nominal": _shown(zone, "brake_nominal_m", units),
        "depth": _shown(zone, "depth_frac", units),
        "depth_sd": "" if depth_sd is None else f"± {depth_sd:.2f}",
        "left": _shown(zone, "brake_left_frac", units),
        "shape": _shown(zone, "release_shape_frac", units),
        "shown": _shown(zone, "use_shown_frac", units),
        "used": _shown(zone, "use_model_frac", units),
        "share": format_percent(sum(share) / len(share)) if share else "",
        "loses": "" if zone.lost_usual_s is None else f"{zone.lost_usual_s:.2f} s",
        "scatter": ""
        if zone.release_scatter_frac is None
        else format_percent(zone.release_scatter_frac),
        "steps": "" if zone.two_steps_frac is None else f"{100 * zone.two_steps_frac:.1f}\u00a0%",
        "technique": bool(zone.technique_first),
        "passes": "one pass" if zone.passes == 1 else f"{zone.passes} passes",
        "wrong": _wrong(own),
    }


def _wrong(own: Sequence[DebriefEvent]) -> str:
    """Say how often what went wrong in a zone."""
    said = []
    for kind, (_, noun) in words.EVENTS.items():
        laps = {one.lap_id for one in own if one.kind == kind}
        if laps:
            said.append(f"{noun} in {len(laps)}")
    return ", ".join(said)


def _events(result: Debrief) -> list[Data]:
    zones = {zone.zone_id: zone for zone in result.zones}
    rows = []
    for kind, (_, noun) in words.EVENTS.items():
        for zone_id, zone in zones.items():
            own = [e for e in result.events if e.kind == kind and e.zone_id == zone_id]
            if not own:
                continue
            wheels = sorted({words.WHEELS[e.wheel] for e in own if e.wheel})
            laps = list(dict.fromkeys(e.lap_id for e in own))
            rows.append(
                {
                    "what": noun + (f", {' and '.join(wheels)}" if wheels else ""),
                    "axle": own[0].axle or "",
                    "mark": words.mark_of(kind, own[0].axle),
                    "where": zone.name,
                    "laps": ", ".join(laps),
                    "often": words.often_of(len(laps), zone.passes),
                    "longest": f"{max(e.duration_s for e in own):.2f} s",
                    "sure": words.sure_of(kind, [e.confidence_frac for e in own], zone.passes),
                    "channels": ", ".join(
                        dict.fromkeys(in_words(c) for e in own for c in e.channels)
                    ),
                }
            )
    return rows


def _plan(zone: DebriefZone, units: Units) -> list[Data]:
    one = zone.against_plan
    if one is None:
        return []
    return [
        {
            "zone": zone.name,
            "brake": words.later_than_planned(one, units),
            "from": format_speed(one.approach_driven_mps, units),
            "plan_from": format_speed(one.approach_mps, units),
            "depth": f"{one.depth_driven_frac:.2f}",
            "plan_depth": f"{one.depth_frac:.2f}",
            "setting": "" if one.setting_driven is None else words.setting(one.setting_driven),
            "plan_setting": words.setting(one.setting),
        }
    ]


def _differences(zones: Sequence[DebriefZone], units: Units) -> Data:
    """Zones by measures: what one driver does otherwise than the other."""
    columns = words.columns_of(zones, units)
    return {
        "columns": [words.COLUMNS[one] for one in columns],
        "differences": [
            {"zone": zone.name, "cells": [words.difference_of(zone, m, units) for m in columns]}
            for zone in zones
        ],
    }


def _web(data: Data, pictures: dict[str, str]) -> bytes:
    shown = data | {
        "pictures": pictures,
        "light": style.LIGHT,
        "dark": style.DARK,
        "light_css": style.colour_css(style.LIGHT),
        "dark_css": style.colour_css(style.DARK),
        "family": WEB_FAMILY,
    }
    page: str = html_template("debrief").render(shown)
    return page.replace("/*faces*/", face_css(page), 1).encode()


def _paper(data: Data, made: dict[str, bytes]) -> bytes:
    shown = json.dumps(data, ensure_ascii=False, sort_keys=True)
    files: Files = {
        "main.typ": (TEMPLATES / "debrief.typ").read_bytes(),
        "data.json": shown.encode(),
        **{name: content for name, content in made.items() if name.endswith(".svg")},
    }
    return to_pdf(files, shown)
