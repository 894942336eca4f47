"""Answers as text for people: tables that fit eighty columns where they can."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from foreaft.base.units import GRAVITY_MPS2
from foreaft.model.answers import (
    Advice,
    Envelope,
    Ideal,
    Limit,
    LimitWay,
    LimitZone,
    Plan,
    Report,
    Stop,
    ZonePlan,
    Zones,
)
from foreaft.report.words import (
    Units,
    format_length,
    format_percent,
    format_setting,
    format_speed,
    say_moved,
    when_lost,
)


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Columns wide enough for what is in them; first column left, numbers right."""
    widths = [max(len(cell) for cell in column) for column in zip(head, *rows, strict=True)]

    def line(cells: Sequence[str]) -> str:
        placed = [
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(cells, widths, strict=True))
        ]
        return "  ".join(placed).rstrip()

    return "\n".join([line(head), *map(line, rows)])


def around(answer: Envelope[Any]) -> list[str]:
    """Warnings and cautions below a result."""
    lines = [f"Note: {one.text}" for one in answer.warnings]
    lines += [f"Caution: {one}" for one in answer.cautions[:2]]
    return lines


def plan(answer: Envelope[Plan], units: Units = "metric") -> str:
    """The plan as a table, the lap setting, and why."""
    result = answer.result
    step, way = result.adjuster.step, result.adjuster.higher_means
    lap = format_setting(result.lap_setting.setting, step)
    kept = result.anchor_setting == result.lap_setting.setting
    today = ", which is what you run today" if kept else ""
    lines = [
        f"\n{result.car_name} at {result.circuit_name}, {result.driver_name}, "
        f"{result.conditions_name}. A bigger number means more {way}.",
        f"One setting for the whole lap: {lap}{today}.",
        when_lost(format_setting(result.panic_setting, step)),
        *filter(None, [say_moved(result.moved)]),
        *_first_step(result),
        "",
        table(
            ("zone", "from", "to", "setting", "lets go first", "room", "sure", "verdict"),
            [_zone_line(zone, step, units) for zone in result.zones],
        ),
        "",
        _changes_line(result),
        *_frontier(result),
    ]
    if result.relative_to_anchor and result.anchor_setting is not None:
        anchor = format_setting(result.anchor_setting, step)
        lines.append(f"All settings are relative to {anchor}, the setting run today.")
    for zone in result.zones:
        lines.append(f"\n{zone.name}: {zone.reason}")
    if result.matters:
        lines.append("\nWhat matters most of what is not known:")
        for one in result.matters[:2]:
            share = f"{100 * one.share_of_spread_frac:.0f} % of the spread"
            lines.append(f"  {one.label} ({share}); to settle it: {one.measurement}")
    lines.append("")
    lines += around(answer)
    return "\n".join(lines)


def _first_step(result: Plan) -> list[str]:
    if result.first_step_setting is None:
        return []
    shown = format_setting(result.first_step_setting, result.adjuster.step)
    return [f"Begin with {shown}: half of what the model moves, then on by single steps."]


VERDICTS = {"set": "set it", "no_matter": "does not matter", "cannot_tell": "cannot tell"}
GUESS_BELOW = 0.6
"""A setting that is right for fewer of the cars than this is called a best guess."""


def _verdict(zone: ZonePlan) -> str:
    sure = zone.setting_sure_frac
    if zone.advice == "set" and sure is not None and sure < GUESS_BELOW:
        return "best guess"
    return VERDICTS[zone.advice]


def _zone_line(zone: ZonePlan, step: float, units: Units) -> tuple[str, ...]:
    sure = "" if zone.setting_sure_frac is None else f"{100 * zone.setting_sure_frac:.0f} %"
    return (
        f"{zone.zone_id} {zone.name}",
        format_speed(zone.approach_speed_mps, units),
        format_speed(zone.apex_speed_mps, units),
        format_setting(zone.setting, step),
        f"{zone.limiting_axle}, {zone.limiting_phase}",
        format_percent(zone.margin_frac),
        sure,
        _verdict(zone),
    )


def _changes_line(result: Plan) -> str:
    changes = result.total.changes
    if changes == 0:
        allowed = f" (Up to {result.changes_max} were allowed.)" if result.changes_max else ""
        return "No change pays for itself on this lap: leave the adjuster alone." + allowed
    gain = (result.lap_setting.cost_us - result.total.cost_us) / 1e6
    return f"{changes} changes a lap, worth {gain:.3f} s a lap against one setting."


def _frontier(result: Plan) -> list[str]:
    """What more changes would bring, and what they would cost."""
    rows = []
    for point in result.frontier:
        gain = point.limit_s + point.margin_s + point.risk_s + point.rotation_s
        price = point.attention_s + point.forgotten_s
        row = (str(point.changes), f"{gain:+.3f} s", f"{price:+.3f} s")
        if row not in rows:
            rows.append(row)
    if len(rows) < 2:
        return []
    return ["", table(("changes a lap", "bring", "attention and forgetting"), rows)]


def side_by_side(answers: Sequence[Envelope[Plan]]) -> str:
    """The settings of one lap under several conditions, one column each."""
    step = answers[0].result.adjuster.step
    head = ("zone", *(one.result.conditions_name for one in answers))
    rows = [
        (f"{zone.zone_id} {zone.name}", *(_setting_of(one, zone.zone_id) for one in answers))
        for zone in answers[0].result.zones
    ]
    whole = [format_setting(one.result.lap_setting.setting, step) for one in answers]
    return table(head, [*rows, ("one for the lap", *whole)])


def _setting_of(answer: Envelope[Plan], zone_id: str) -> str:
    for zone in answer.result.zones:
        if zone.zone_id == zone_id:
            return format_setting(zone.setting, answer.result.adjuster.step)
    return "no braking"


def stop(answer: Envelope[Stop]) -> str:
    """One line per setting."""
    rows = []
    for row in answer.result.settings:
        best = row.setting is not None and row.setting == answer.result.best_setting
        rows.append(
            (
                f"{'' if row.setting is None else f'{row.setting:g}'}{' shortest' if best else ''}",
                f"{row.front_share_frac:.3f}",
                f"{row.distance_m:.1f} m",
                f"{row.time_s:.2f} s",
                f"{row.mfdd_mps2:.2f}",
                row.limiting_axle,
                f"{100 * row.reserve_front_frac:.0f} %",
                f"{100 * row.reserve_rear_frac:.0f} %",
                f"{100 * row.efficiency_frac:.1f} %",
            )
        )
    head = (
        "setting",
        "share",
        "distance",
        "time",
        "MFDD m/s2",
        "lets go",
        "front left",
        "rear left",
        "efficiency",
    )
    return table(head, rows)


def ideal(answer: Envelope[Ideal]) -> str:
    """One line per state."""
    rows = []
    for point in answer.result.points:
        state = (
            f"{point.decel_mps2 / GRAVITY_MPS2:.2f} g",
            f"{3.6 * point.speed_mps:.0f} km/h",
            f"{point.lateral_mps2 / GRAVITY_MPS2:.2f} g",
        )
        if point.ideal_share_frac is None:
            said = "no brake needed" if point.feasible else "beyond the car"
            rows.append((*state, said, "", "", "", ""))
            continue
        rows.append(
            (
                *state,
                f"{point.ideal_share_frac:.3f}",
                f"{point.window_low_frac:.3f}-{point.window_high_frac:.3f}",
                f"{point.utilisation_front_frac:.3f}",
                f"{point.utilisation_rear_frac:.3f}",
                f"{point.efficiency_frac:.3f}",
            )
        )
    head = (
        "braking",
        "speed",
        "cornering",
        "ideal share",
        "can do it",
        "front used",
        "rear used",
        "efficiency",
    )
    lines = [table(head, rows)]
    road = answer.result.road
    if road is not None:
        said = "passes" if road.passes else "fails"
        lines.append(f"UN R13-H, rear not above front from 0.15 to 0.80: {said}.")
        for low, high in road.rear_above_front:
            lines.append(f"  rear above front from z = {low:.3f} to {high:.3f}")
    return "\n".join(lines)


def limit(answer: Envelope[Limit]) -> str:
    """One line per zone: what each balance takes and leaves, at the limit of the car."""
    result = answer.result
    step = result.adjuster.step
    ends = [format_setting(v, step) for v in (result.adjuster.min, result.adjuster.max)]
    head = ("zone", "lap setting", "plan", "planned", "perfect", "lap leaves", "plan leaves")
    total = result.total
    lines = [
        f"\n{result.car_name} at {result.circuit_name}, {result.conditions_name}.",
        "Braking to the apex at the limit of the car, without any margin: what a driver leaves",
        "below the limit is another and larger thing, and so is the risk of going there.",
        f"One setting for the lap: {format_setting(result.lap_setting, step)}.",
        f"Perfect: the balance moved all the time, anywhere from {ends[0]} to {ends[1]}.",
        "",
        table(head, [_limit_line(zone, step) for zone in result.zones]),
        "",
        f"Left on the table by the lap setting: {total.lap_setting_leaves_s:.3f} s; by the plan: "
        f"{total.plan_leaves_s:.3f} s.",
        f"A balance without ends to its range would gain {total.beyond_range_s:.3f} s more.",
    ]
    if total.left_out:
        lines.append(f"Not in the sums, for want of an answer: {', '.join(total.left_out)}.")
    if total.lap_time_range_s is not None:
        lines.append(
            f"Lap with every zone braked at the limit: {total.lap_time_lap_setting_s:.2f} s with "
            f"the lap setting, {total.lap_time_plan_s:.2f} s with the plan, "
            f"{total.lap_time_range_s:.2f} s perfect."
        )
    return "\n".join([*lines, ""])


def _limit_line(zone: LimitZone, step: float) -> tuple[str, ...]:
    lap, plan, perfect, _ = zone.ways
    leaves = (zone.lap_setting_leaves_s, zone.plan_leaves_s)
    return (
        f"{zone.zone_id} {zone.name}",
        _limit_time(lap),
        "" if plan.setting is None else format_setting(plan.setting, step),
        _limit_time(plan),
        _limit_time(perfect),
        *("" if one is None else f"{one:.3f} s" for one in leaves),
    )


def _limit_time(way: LimitWay) -> str:
    return "no answer" if way.time_s is None else f"{way.time_s:.3f} s"


def zones(answer: Envelope[Zones]) -> str:
    """One line per zone."""
    circuit = answer.result.circuit
    rows = [
        (
            f"{zone.zone_id} {zone.name}",
            zone.direction,
            "" if zone.brake_s_m is None else f"{zone.brake_s_m:.0f}",
            "" if zone.turn_in_s_m is None else f"{zone.turn_in_s_m:.0f}",
            "" if zone.apex_s_m is None else f"{zone.apex_s_m:.0f}",
            format_speed(zone.approach_speed_mps, "metric"),
            format_speed(zone.apex_speed_mps, "metric"),
            "" if zone.apex_radius_m is None else format_length(zone.apex_radius_m, "metric"),
            f"{zone.hand_time_s:.1f} s",
        )
        for zone in answer.result.zones
    ]
    head = ("zone", "turn", "brake m", "turn-in m", "apex m", "from", "to", "radius", "hand free")
    shape = "closed" if circuit.closed else "open"
    return (
        f"{circuit.length_m:.0f} m, {shape}, line {circuit.line.replace('_', ' ')}, "
        f"lap {answer.result.lap_time_s:.1f} s\n" + table(head, rows)
    )


def advise(answer: Envelope[Advice]) -> str:
    """The next setting and why."""
    result = answer.result
    lines = [f"{result.zone_id}: {result.from_setting:g} -> {result.to_setting:g}", result.because]
    for one in result.narrowed:
        lines.append(f"  {one.key} is now more likely {one.low:.4g} to {one.high:.4g}")
    if result.cannot_tell:
        lines.append(result.cannot_tell)
    return "\n".join(lines)


def report(answer: Envelope[Report]) -> str:
    """Lines of facts."""
    return "\n".join(
        "  " + ", ".join(f"{key} {value}" for key, value in line.items() if value != "")
        for line in answer.result.lines
    )
