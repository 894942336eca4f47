"""What is learned of a car in words of the trade: names of numbers, numbers with their units."""

from __future__ import annotations

import re
from math import floor, log10
from typing import Final

from foreaft.base.units import GRAVITY_MPS2, PA_PER_BAR
from foreaft.model.answers import Axle
from foreaft.report.words import NBSP, format_setting

NAMES: Final[dict[str, str]] = {
    "force_share_frac": "front share of the braking force",
    "decel_per_front_pressure_mps2_per_Pa": "deceleration per front line pressure",
    "gain_N_per_Pa": "braking force per line pressure",
    "height_per_wheelbase": "height of the centre of gravity by wheelbase",
    "driver.pedal_scatter_frac": "scatter of the driver's pedal",
    "driver.depth_frac": "how deep past turn-in the brake is kept",
    "mass_kg": "mass as run",
    "front_weight_frac": "static weight on the front axle",
    "cg_height_m": "height of the centre of gravity",
    "wheelbase_m": "wheelbase",
    "track_m": "track",
    "yaw_inertia_kgm2": "yaw inertia",
    "yaw_inertia_frac": "yaw inertia by that of two point masses",
    "roll_front_frac": "front share of the roll stiffness",
    "drag_area_m2": "drag area",
    "drag_height_m": "height at which the drag acts",
    "lift_area_m2": "downforce area",
    "aero_front_frac": "front share of the downforce",
    "aero_front_shift_frac_per_g": "forward move of the downforce under braking",
    "fuel.aboard_kg": "fuel aboard",
    "fuel.front_frac": "front share of the fuel's weight",
    "fuel.height_m": "height of the fuel",
    "tyre.mu_x": "friction of the tyres along",
    "tyre.mu_y": "friction of the tyres across",
    "tyre.mu_y_per_mu_x": "friction of the tyres across by along",
    "tyre.load_sensitivity_frac": "friction lost when the load doubles",
    "tyre.load_ref_N": "wheel load at which the friction holds",
    "tyre.cornering_stiffness_per_load_1prad": "cornering stiffness of the tyres by load",
    "tyre.peak_slip_frac": "slip at the peak of the braking force",
    "tyre.sliding_frac": "friction of a locked wheel by the peak",
    "tyre.rear_grip_frac": "friction of the rear tyres by the front ones",
    "wheel.radius_m": "rolling radius",
    "wheel.inertia_kgm2": "spin inertia of a wheel",
    "drive.power_W": "power at the wheels",
    "drive.front_frac": "front share of the drive",
    "drive.engine_brake_N": "engine braking at the wheels",
    "drive.engine_brake.force_N": "engine braking at the wheels",
    "drive.engine_brake.driveline_mass_kg": "driveline inertia as mass",
    "drive.gear.total_ratio": "total ratio of the gear",
    "drive.gear.engine_drag_Nm": "drag of the engine",
    "drive.engine_speed_max_rpm": "highest engine speed",
    "drive.driveline_inertia_kgm2": "driveline inertia",
    "drive.driveline_mass_kg": "driveline inertia as mass",
    "drive.overrun_coupling_N": "coupling of the driven wheels on the overrun",
    "brakes.front_share_frac": "front share of the brakes at the setting of the file",
    "brakes.piston_area_mm2": "piston area",
    "brakes.effective_radius_m": "effective radius of the disc",
    "brakes.pad_friction": "friction of the pads",
    "brakes.master_cylinder_bore_mm": "bore of the master cylinder",
    "brakes.pressure_threshold_bar": "line pressure before the brake does anything",
    "brakes.threshold_N": "brake force lost before the brake does anything",
    "brakes.valve_knee_bar": "line pressure at which the rear valve begins to act",
    "brakes.valve_knee_N": "rear brake force at which the valve begins to act",
    "brakes.valve_slope": "slope of the rear valve",
    "adjuster.share_per_unit_frac": "front share per unit of the adjuster",
    "adjuster.known.front_share_frac": "front share of the brakes measured in the file",
    "adjuster.backlash_steps": "play of the adjuster",
    "adjuster.reach_s": "time of the hand to the adjuster and back",
    "adjuster.seconds_per_step_s": "time of one step of the adjuster",
    "transient.relaxation_along_m": "distance in which a tyre builds up its braking force",
    "transient.relaxation_across_m": "distance in which a tyre builds up its side force",
    "transient.pitch_lag_s": "lag of the load transfer to the front",
    "transient.roll_lag_s": "lag of the load transfer to a side",
    "transient.brake_delay_s": "delay from the foot to the brake lines",
    "transient.brake_build_up_s": "delay from the brake lines to the torque",
    "transient.steer_limit_deg": "largest steering angle of the front wheels",
}
"""By key, without the word for the axle and the number of a row."""

ROWS: Final = {"gear": "gear", "engine_brake": "speed", "known": "point"}
"""What a row of a table in a car file is of."""

SHOWN: Final[dict[str, tuple[str, float]]] = {
    "N": ("kN", 1e-3),
    "W": ("kW", 1e-3),
    "N/Pa": ("kN per 10 bar", 10.0 * PA_PER_BAR / 1e3),
    "m/s2/Pa": ("g per 10 bar", 10.0 * PA_PER_BAR / GRAVITY_MPS2),
    "kg m2": ("kg m²", 1.0),
    "m2": ("m²", 1.0),
    "mm2": ("cm²", 1e-2),
    "1/rad": ("per rad", 1.0),
    "1/min": ("turns per minute", 1.0),
}
"""Unit for people, and how many of it are one of the answer's. A brake takes some ten bar."""

AXLE: Final = re.compile(
    r"^(?:(track|lift|gain|wheel\.radius|wheel\.inertia)_(front|rear)(?=_)"
    r"|(tyre|brakes)\.(front|rear)(?=\.))"
)
ROW: Final = re.compile(r"\.(\w+)\.(\d+)\.")


def name_of(key: str, setting: float | None = None, step: float = 1.0) -> str:
    """Say what a number is, with the setting it is of.

    >>> name_of("tyre.front.mu_x"), name_of("force_share_frac", 54.0, 0.5)
    ('friction of the tyres along (front)', 'front share of the braking force at 54.0')
    """
    axle, row = AXLE.match(key), ROW.search(key)
    plain = key if axle is None else (axle[1] or axle[3]) + key[axle.end() :]
    plain = ROW.sub(r".\1.", plain)
    name = NAMES[plain]
    if axle is not None:
        name += f" ({axle[2] or axle[4]})"
    if row is not None:
        name += f" ({ROWS[row[1]]} {row[2]} of the file)"
    return name if setting is None else f"{name} at {format_setting(setting, step)}"


def shown_unit(key: str, unit: str) -> tuple[str, float]:
    """Give the unit people read a number in, and how many of it one of the answer's unit is.

    >>> shown_unit("force_share_frac", ""), shown_unit("tyre.mu_x", "")
    (('%', 100.0), ('', 1.0))
    """
    if "_frac" in key:
        return {"": "%", "1/g": "% per g", "1/unit": "%"}[unit], 100.0
    return SHOWN.get(unit, (unit, 1.0))


def told(key: str, unit: str, value: float, low: float, high: float) -> str:
    """Show a number and the half width of its interval, two digits of that.

    >>> told("gain_front_N_per_Pa", "N/Pa", 1.5e-3, 1.47e-3, 1.53e-3)
    '1.500 ±0.030 kN per 10 bar'
    """
    name, factor = shown_unit(key, unit)
    half = 0.5 * (high - low) * factor
    return f"{value * factor:.{places_of(half)}f} ±{half:.{places_of(half)}f} {name}".rstrip()


def between(key: str, unit: str, low: float, high: float) -> str:
    """Show a range.

    >>> between("mass_kg", "kg", 1290.0, 1350.0)
    '1290 to 1350 kg'
    """
    name, factor = shown_unit(key, unit)
    places = places_of(0.5 * (high - low) * factor)
    return f"{low * factor:.{places}f} to {high * factor:.{places}f} {name}".rstrip()


def places_of(half: float) -> int:
    """Decimals that show two digits of a half width."""
    return min(max(1 - floor(log10(half)), 0), 6) if half > 0.0 else 3


# ---------------------------------------------------------------- settings


def setting_text(setting: float, low: float, high: float, step: float) -> str:
    """Show a setting between the adjuster's, and the half width of its interval.

    Never narrower than the last decimal that is shown.

    >>> setting_text(54.4837, 53.91, 55.07, 0.5).replace(NBSP, " ")
    '54.5 ±0.6'
    >>> setting_text(54.4837, 54.3, 54.7, 1.0).replace(NBSP, " ")
    '54 ±1'
    """
    places = _places_of_step(step)
    half = max(round(0.5 * (high - low), places), 10.0**-places)
    return f"{setting:.{places}f}{NBSP}±{half:.{places}f}"


def _places_of_step(step: float) -> int:
    return len(format_setting(step, step).partition(".")[2])


def lock_text(lock: float, alike: float, step: float, higher: Axle | None) -> str:
    """Say how locking together differs from slipping alike, and what each side of it does.

    Parameters
    ----------
    lock, alike : float
        Settings at which both ends lock together, and slip alike.
    higher : "front", "rear" or None
        Which axle brakes more at a higher number.
    """
    said = "Slipping alike is one thing, locking together another: load moves with the deceleration"
    ahead = higher is not None and (lock > alike) == (higher == "front")
    if ahead and abs(lock - alike) >= 0.5 * step:
        said += ", and a harder stop puts more of it on the front, which can then brake more"
    at = f"{lock:.{_places_of_step(step)}f}"
    return (
        f"{said}. Further to the rear than {at} a rear wheel locks first, further forward a front "
        "one."
    )


NO_ADJUSTER: Final = "the car file has no adjuster"
OUTSIDE: Final = (
    "by the cars that agree with the logs it lies outside the settings that were driven"
)
"""Why it is not known where both ends lock together."""

TURN_ONE: Final = (
    "check adjuster.higher_means of the car file, which way the channel of the setting counts, and "
    "which columns are front and rear"
)


def other_way(said: Axle, pressures: Axle | None, slips: Axle | None) -> str:
    """Say what of a log disagrees with which way the adjuster counts, and which is the likely one.

    >>> other_way("front", "rear", "rear").partition(" a ")[0]
    'by its line pressures and wheel speeds'
    >>> other_way("rear", "front", "rear").partition(": ")[2]
    'their columns of front and rear seem to have changed places'
    """
    against = " and ".join(
        name
        for name, one in (("line pressures", pressures), ("wheel speeds", slips))
        if one not in (said, None)
    )
    other = "rear" if said == "front" else "front"
    text = f"by its {against} a higher number brakes the {other} more, not the {said}"
    if pressures is not None and slips is not None and pressures != slips:
        return f"{text}: their columns of front and rear seem to have changed places"
    return f"{text}, as the car file has it"
