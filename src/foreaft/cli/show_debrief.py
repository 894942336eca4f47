"""The debrief as text for people."""

from __future__ import annotations

from statistics import median

from foreaft.base.units import g_from_mps2
from foreaft.cli.show import table
from foreaft.model.answers import Envelope
from foreaft.model.answers_debrief import Debrief, DebriefZone, Scatter
from foreaft.report import debrief_words as words
from foreaft.report.words import (
    Units,
    format_length,
    format_percent,
    format_speed,
    length_number,
    length_unit,
)


def debrief(answer: Envelope[Debrief], units: Units) -> str:
    """What to work on, the zones, what went wrong, and what cannot be told."""
    result = answer.result
    lines = [f"\n{result.driver_name} at {result.circuit_name}", *_laps(result), ""]
    if result.work_on:
        lines.append("What to work on:")
    for number, one in enumerate(result.work_on, 1):
        lines.append(f"{number}. {one.text}")
    lines += [one for one in (result.laps_said, result.even_said) if one]
    lines += ["", table(_head(units), [_zone(zone, units) for zone in result.zones])]
    lines += _events(result)
    lines += _plan(result, units)
    lines += _other(result, units)
    if result.cannot_tell:
        lines.append("\nWhat these channels cannot tell:")
        for untold in result.cannot_tell:
            lines.append(f"  {untold.what}: {untold.because}. To settle it: {untold.would_settle}.")
    return "\n".join([*lines, ""])


def _laps(result: Debrief) -> list[str]:
    kinds = [lap.kind for lap in result.laps]
    counted = ", ".join(
        f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds) if kinds.count(kind)
    )
    full = [lap.duration_s for lap in result.laps if lap.kind == "full"]
    said = [f"Laps by {result.lap_method}: {counted}."]
    if full:
        said.append(f"Best {min(full):.2f} s, middle {median(full):.2f} s.")
    circuit = result.circuit
    if circuit.closure_gap_m is not None:
        said.append(
            f"The circuit was made from the log: {circuit.length_m:.0f} m, "
            f"closing to {circuit.closure_gap_m:.1f} m."
        )
    if len(result.runs) > 1:
        said.append(words.sessions(len(result.runs)))
    return [" ".join(said)]


def _head(units: Units) -> tuple[str, ...]:
    unit = length_unit(units)
    return (
        "zone",
        "brake",
        f"+- {unit}",
        "from",
        "to",
        "MFDD g",
        "depth",
        "used",
        "model",
        "loses",
    )


def _zone(zone: DebriefZone, units: Units) -> tuple[str, ...]:
    by = {one.measure: one for one in zone.scatter}

    def middle(name: str) -> Scatter | None:
        return by.get(name)

    brake, start, low = (middle(n) for n in ("brake_s_m", "approach_speed_mps", "min_speed_mps"))
    mfdd, depth = middle("mfdd_mps2"), middle("depth_frac")
    shown, model = middle("use_shown_frac"), middle("use_model_frac")
    sd = words.sd_of(zone, "brake_s_m")
    return (
        f"{zone.zone_id} {zone.name}",
        "" if brake is None else format_length(brake.median, units),
        "" if sd is None else f"{length_number(sd, units):.1f}",
        "" if start is None else format_speed(start.median, units),
        "" if low is None else format_speed(low.median, units),
        "" if mfdd is None else f"{g_from_mps2(mfdd.median):.2f}",
        "" if depth is None else f"{depth.median:.2f}",
        "" if shown is None else format_percent(shown.median),
        "" if model is None else format_percent(model.median),
        "" if zone.lost_usual_s is None else f"{zone.lost_usual_s:.2f} s",
    )


def _events(result: Debrief) -> list[str]:
    if not result.events:
        return []
    rows = []
    zones = {zone.zone_id: zone for zone in result.zones}
    for kind, (_, noun) in words.EVENTS.items():
        for zone_id, zone in zones.items():
            own = [e for e in result.events if e.kind == kind and e.zone_id == zone_id]
            if not own:
                continue
            wheels = sorted({words.WHEELS[e.wheel] for e in own if e.wheel})
            laps = list(dict.fromkeys(e.lap_id for e in own))
            shown = ", ".join(laps[:6]) + (", ..." if len(laps) > 6 else "")
            sure = words.sure_of(kind, [e.confidence_frac for e in own], zone.passes)
            longest = max(e.duration_s for e in own)
            rows.append(
                (
                    f"{noun}{', ' + ' and '.join(wheels) if wheels else ''}",
                    f"{zone_id} {zone.name}",
                    shown,
                    words.often_of(len(laps), zone.passes),
                    f"{longest:.2f} s",
                    sure,
                )
            )
    return ["", table(("what went wrong", "where", "laps", "passes", "longest", "sure"), rows)]


def _plan(result: Debrief, units: Units) -> list[str]:
    rows = []
    for zone in result.zones:
        one = zone.against_plan
        if one is not None:
            driven = "" if one.setting_driven is None else words.setting(one.setting_driven)
            rows.append(
                (
                    f"{zone.zone_id} {zone.name}",
                    words.later_than_planned(one, units),
                    f"{format_speed(one.approach_driven_mps, units)} / "
                    f"{format_speed(one.approach_mps, units)}",
                    f"{one.depth_driven_frac:.2f} / {one.depth_frac:.2f}",
                    f"{driven} / {words.setting(one.setting)}",
                )
            )
    if not rows:
        return []
    head = ("against the plan", "brakes", "from, plan's", "depth, plan's", "setting, plan's")
    return ["", table(head, rows), result.plan_said]


def _other(result: Debrief, units: Units) -> list[str]:
    if result.other_name is None:
        return []
    lines = ["", f"Against {result.other_name}. {result.other_said}"]
    columns = words.columns_of(result.zones, units)
    rows = [
        (
            f"{zone.zone_id} {zone.name}",
            *(words.difference_of(zone, one, units) for one in columns),
        )
        for zone in result.zones
    ]
    if columns:
        head = ("more than scatter", *(words.COLUMNS[one] for one in columns))
        lines.append(table(head, rows))
    else:
        lines.append("No difference is larger than the scatter of the passes.")
    return lines
