"""Plans invented for the tests of the products: shapes a plan may take, no claim about any car."""

from __future__ import annotations

from math import cos, exp, pi, sin
from typing import Any

from foreaft.model.answers import (
    AdjusterFace,
    Cell,
    Envelope,
    FrontierPoint,
    Input,
    LapSetting,
    Matter,
    Outline,
    Plan,
    Profile,
    Spread,
    Step,
    Total,
    Warn,
    ZonePlan,
)
from foreaft.report.words import cautions, facts_of, reason

LAP_M = 4200.0
NAMES = ["Gate", "Mill Bend", "T3", "Long Left", "Quarry", "Hairpin", "Weir", "T8", "Orchard"]
NAMES += ["Low Bridge", "Crest", "Last"]
SETTINGS = [54.0, 54.0, 52.5, 52.5, 52.5, 52.5, 54.0, 54.0, 54.0, 54.0, 54.0, 54.0]
CAUSES = ["load_transfer", "engine_braking", "rear_risk", "downforce", "inside_front", "grade"]
CAUSES += ["lateral_use", "rotation", "coupling", "flat"]
WHEELS = ["rear_outside", "rear_inside", "front_inside", "front_outside"]


def _outline() -> Outline:
    count = 420
    turns = [2.0 * pi * i / count for i in range(count)]
    x, y = [], []
    for turn in turns:
        radius = 420.0 + 120.0 * cos(2 * turn + 0.4) + 70.0 * sin(3 * turn) + 45.0 * cos(5 * turn)
        x.append(1.35 * radius * cos(-turn))
        y.append(0.85 * radius * sin(-turn))
    s = [0.0]
    for i in range(1, count):
        s.append(s[-1] + ((x[i] - x[i - 1]) ** 2 + (y[i] - y[i - 1]) ** 2) ** 0.5)
    length = s[-1] + ((x[0] - x[-1]) ** 2 + (y[0] - y[-1]) ** 2) ** 0.5
    return Outline(x_m=x, y_m=y, s_m=s, length_m=length)


def _field(setting: float, step: float, low: float, high: float, sharp: float) -> list[Cell]:
    cells = []
    for i in range(round((high - low) / step) + 1):
        here = low + i * step
        off = here - setting
        cost = sharp * (off * off if off > 0 else 2.2 * off * off)
        wheel = WHEELS[0 if off < -1.5 else 1 if off < 0 else 2 if off < 2.0 else 3]
        cells.append(
            Cell.model_validate(
                {
                    "setting": here,
                    "front_share_frac": 0.62 + 0.01 * (here - 52.0),
                    "feasible": off > -4.0,
                    "time_s": 4.0 + cost,
                    "brake_distance_m": 92.0 + 0.5 * abs(off - 0.4) ** 1.4,
                    "first_lock_decel_mps2": 14.0 - 0.3 * abs(off),
                    "first_lock_wheel": wheel,
                    "p_front": min(0.9, 0.02 * exp(0.4 * off)),
                    "p_rear": min(0.9, 0.004 * exp(-0.8 * off)),
                    "cost_us": round(1e6 * cost),
                    "use_straight_frac": 0.9,
                    "use_turning_frac": 0.85,
                    "p_inside_front": 0.03,
                    "limit_loss_s": 0.3 * cost,
                    "margin_loss_s": 0.2 * cost,
                    "risk_s": 0.4 * cost,
                    "rotation_s": 0.1 * cost,
                    "time_to_double_s": 0.6,
                }
            )
        )
    return cells


def _profile(share: float, fast: float, slow: float, length: float) -> Profile:
    count = 41
    s = [-length + length * i / (count - 1) for i in range(count)]
    along = [i / (count - 1) for i in range(count)]
    speed = [fast - (fast - slow) * a for a in along]
    pedal = [min(1.0, 8 * a) if a < 0.6 else max(0.0, (0.95 - a) / 0.35) for a in along]
    lateral = [0.0 if a < 0.55 else 11.0 * (a - 0.55) / 0.45 for a in along]
    ideal = [
        share - 0.012 + 0.03 * a * a if p > 0 else None for a, p in zip(along, pedal, strict=True)
    ]
    return Profile(
        s_m=s,
        speed_mps=speed,
        decel_mps2=[14.0 * p for p in pedal],
        lateral_mps2=lateral,
        pedal_frac=pedal,
        ideal_torque_share_frac=ideal,
        window_low_frac=[
            None if i is None else i - 0.015 - 0.03 * (1 - p)
            for i, p in zip(ideal, pedal, strict=True)
        ],
        window_high_frac=[
            None if i is None else i + 0.012 + 0.03 * (1 - p)
            for i, p in zip(ideal, pedal, strict=True)
        ],
        front_use_frac=[0.9 * p for p in pedal],
        rear_use_frac=[0.85 * p for p in pedal],
    )


def _zone(index: int, count: int, name: str, setting: float, kind: dict[str, Any]) -> ZonePlan:
    lap = kind["length_m"]
    apex = lap * (index + 0.7) / count
    length = 60.0 + 60.0 * (index % 3) if count < 16 else 55.0
    placed = kind["outline"]
    advice = kind["advice"].get(index, "set")
    share = 0.62 + 0.01 * (setting - 52.0)
    flat = 2.0 if advice == "no_matter" else 0.25
    sharp = 0.0012 if advice == "no_matter" else 0.006 + 0.004 * (index % 4)
    axle = ("rear", "front", "rear", "front", "front")[index % 5]
    phase = ("straight", "turning", "releasing")[index % 3]
    return ZonePlan.model_validate(
        {
            "zone_id": f"zone-{index + 1}",
            "name": name,
            "direction": ("left", "right")[index % 2],
            "brake_s_m": apex - length if placed else None,
            "turn_in_s_m": apex - 0.45 * length if placed else None,
            "release_s_m": apex - 0.05 * length if placed else None,
            "apex_s_m": apex if placed else None,
            "approach_speed_mps": 62.0,
            "apex_speed_mps": 27.0,
            "apex_radius_m": 60.0,
            "depth_frac": 0.9,
            "hand_time_s": 3.0,
            "setting": setting,
            "setting_sure_frac": 0.6 + 0.03 * (index % 10),
            "front_share_frac": share,
            "torque_share_frac": share + 0.01,
            "ideal_share_brake_frac": share,
            "ideal_share_turn_in_frac": share + 0.01,
            "ideal_share_release_frac": None,
            "limiting_axle": axle,
            "limiting_phase": phase,
            "margin_frac": 0.06 + 0.01 * (index % 7),
            "p_front": 0.021,
            "p_rear": 0.004,
            "reason": "to come",
            "advice": advice,
            "cause": "flat" if advice == "no_matter" else CAUSES[index % len(CAUSES)],
            "settles": "three straight stops" if advice == "cannot_tell" else None,
            "flat_low": setting - flat,
            "flat_high": setting + flat,
            "own_setting": setting - (kind["step"] if index % 3 == 0 else 0.0),
            "own_gain_s": 0.004 if index % 3 == 0 else 0.0,
            "field": _field(setting, kind["step"], kind["low"], kind["high"], sharp),
            "profile": _profile(share + 0.01, 62.0, 27.0, length),
        }
    )


def plan(
    settings: list[float] | None = None,
    names: list[str] | None = None,
    *,
    step: float = 0.25,
    low: float = 48.0,
    high: float = 58.0,
    outline: bool = True,
    advice: dict[int, str] | None = None,
    higher_means: str = "front",
    **more: Any,
) -> Plan:
    """Invent a plan from its settings and names."""
    settings = SETTINGS if settings is None else settings
    names = NAMES[: len(settings)] if names is None else names
    line = _outline() if outline else None
    kind = {
        "length_m": line.length_m if line else LAP_M,
        "outline": outline,
        "step": step,
        "low": low,
        "high": high,
        "advice": advice or {},
    }
    zones = [
        _zone(i, len(settings), n, s, kind)
        for i, (n, s) in enumerate(zip(names, settings, strict=True))
    ]
    adjuster = AdjusterFace.model_validate(
        {
            "min": low,
            "max": high,
            "step": step,
            "higher_means": higher_means,
            "meaning": "line pressure share",
            "seconds_per_step_s": 0.3,
        }
    )
    zones = [
        z.model_copy(update={"reason": reason(**facts_of(z, adjuster, zones[i - 1].setting))})
        for i, z in enumerate(zones)
    ]
    steps = [
        Step(
            from_zone_id=zones[i - 1].zone_id,
            to_zone_id=z.zone_id,
            steps=round((z.setting - zones[i - 1].setting) / step),
            hand_needed_s=1.9,
            hand_time_s=3.4,
        )
        for i, z in enumerate(zones)
        if z.setting != zones[i - 1].setting
    ]
    lap_setting = settings[-1] if len(settings) < 3 else sorted(settings)[len(settings) // 3]
    values: dict[str, Any] = {
        "car_name": "Marrow 4 Cup",
        "circuit_name": "Tidewater Ring",
        "driver_name": "Ines Okonta",
        "conditions_name": "dry, half fuel",
        "adjuster": adjuster,
        "relative_to_anchor": False,
        "anchor_setting": None,
        "changes_max": 3,
        "change_cost_s": 0.05,
        "price_front_s": 0.5,
        "price_rear_s": 4.0,
        "zones": zones,
        "steps": steps,
        "total": Total(changes=len(steps), cost_us=412000, time_s=96.4),
        "lap_setting": LapSetting(
            setting=lap_setting, cost_us=455000, regret_s=Spread(low=0.01, nominal=0.043, high=0.12)
        ),
        "frontier": [
            FrontierPoint(
                changes=n,
                cost_us=455000 - gain,
                settings=settings,
                limit_s=0.1,
                margin_s=0.15,
                risk_s=0.12,
                rotation_s=0.04,
                attention_s=0.05 * n,
                forgotten_s=0.01 * n,
            )
            for n, gain in enumerate([0, 12000, 43000, 46000])
        ],
        "matters": [
            Matter(
                key="tyre.rear.mu_x",
                label="tyre.rear.mu x",
                share_of_spread_frac=0.41,
                measurement="three straight stops, forward end first",
            ),
            Matter(
                key="cg_height_m",
                label="cg height m",
                share_of_spread_frac=0.22,
                measurement="weigh the car with one end raised",
            ),
        ],
        "samples": 64,
        "panic_setting": settings[-1] + step * round(1.0 / step),
        "first_step_setting": None,
        "outline": line,
    }
    return Plan.model_validate(values | more)


def envelope(result: Plan) -> Envelope[Plan]:
    """Wrap a plan as a job would."""
    return Envelope[Plan](
        schema="foreaft.plan/1",
        version="0.1.0",
        model_version=3,
        request_sha256="0" * 64,
        seed=7,
        inputs={"car": Input(id="marrow-4-cup", revision="0123456789ab", file=None)},
        assumptions=[],
        warnings=[Warn(code="class_only", text="The car is known by its class only.")],
        cautions=cautions(),
        files=[],
        result=result,
    )


def sheet_plan() -> Plan:
    """Give a plan from a zone sheet: no outline, no places."""
    return plan(outline=False)


def unsure_plan() -> Plan:
    """Give a plan with zones where nothing can be told or nothing matters."""
    return plan(advice={1: "no_matter", 4: "cannot_tell", 7: "no_matter", 10: "cannot_tell"})


def small_plan() -> Plan:
    """Give a plan of three zones."""
    return plan([54.0, 53.0, 54.0], step=1.0, low=48.0, high=60.0)


def single_plan() -> Plan:
    """Give a plan of one zone."""
    return plan([54.0], step=0.5)


def long_plan() -> Plan:
    """Give a plan of 24 zones."""
    settings = [54.0] * 6 + [52.5] * 8 + [55.0] * 4 + [54.0] * 6
    return plan(settings, [f"T{i + 1}" for i in range(24)])


def odd_names_plan() -> Plan:
    """Give a plan whose names try to break out of the page."""
    names = list(NAMES)
    names[0] = "<script>alert(1)</script>"
    names[1] = "東の長い曲がり角"
    names[2] = 'The "Very & Extremely" Long Double-Apex Left-Hander behind the Old Mill'
    names[3] = "Äußere Кривая Στροφή"
    names[4] = "#let x = $1$ \\ *bold*"
    return plan(
        names=names,
        car_name="<b>Car</b> & Sons #1",
        driver_name="Zoë Żółć-Þórsdóttir",
        circuit_name="]] > { } $x$ @ring `raw`",
    )


def restless_plan() -> Plan:
    """Give a plan with more changes than a sticker holds."""
    return plan([54.0, 53.0, 54.0, 52.0, 54.0, 54.0], step=1.0, low=48.0, high=60.0)


def reversed_plan() -> Plan:
    """Give a plan whose adjuster counts towards the rear."""
    return plan([7.0, 7.0, 9.0, 9.0, 7.0], step=1.0, low=1.0, high=12.0, higher_means="rear")


def tenth_plan() -> Plan:
    """Give a plan in half steps with three changes."""
    return plan([54.5, 53.0, 53.0, 55.5, 54.5], step=0.5)


def idle_plan() -> Plan:
    """Give a plan of three changes that together gain nine thousandths."""
    made = tenth_plan()
    return made.model_copy(update={"total": made.total.model_copy(update={"cost_us": 446000})})


def wet_plan() -> Plan:
    """Give the same lap in the rain."""
    return plan([52.0] * 6 + [51.0] * 6, conditions_name="wet")
