"""The driver: scatter, margins, what going wrong costs him, and how often he can change.

Every preset is common practice, no source: the middle of what coaches see at that level.
A file names a level and overrides what is known better.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from pydantic import Field, model_validator

from foreaft.model.fields import SLUG, Model, Quantity, Word

Level = Literal["novice", "club", "pro"]
EVENTS: Final = (
    "front_straight",
    "inside_front_lock",
    "front_turning",
    "rear_straight",
    "rear_turning",
)

_FRAC: Final = (0.0, 1.0)


class Event(Model):
    """What one kind of mistake costs: always the catch, sometimes worse."""

    caught_s: Annotated[float, Quantity("s", 0, 30, "0.05 to 0.8", "lost whenever it happens")]
    run_off_frac: Annotated[
        float, Quantity("", *_FRAC, "0 to 0.1", "how often it ends off the track")
    ] = 0.0
    run_off_s: Annotated[float, Quantity("s", 0, 600, "3 to 10", "cost of that")] = 0.0
    spin_frac: Annotated[float, Quantity("", *_FRAC, "0 to 0.5", "how often it becomes a spin")] = (
        0.0
    )
    spin_s: Annotated[float, Quantity("s", 0, 600, "10 to 40", "cost of a spin")] = 0.0
    contact_frac: Annotated[
        float, Quantity("", *_FRAC, "0 to 0.05", "how often it ends in contact")
    ] = 0.0
    contact_s: Annotated[float, Quantity("s", 0, 3600, "30 to 120", "cost of contact")] = 0.0

    @property
    def worse_s(self) -> float:
        """Expected cost besides the catch, at ordinary speed with ordinary run-off."""
        return (
            self.run_off_frac * self.run_off_s
            + self.spin_frac * self.spin_s
            + self.contact_frac * self.contact_s
        )


class Ladder(Model):
    """``[events.*]``: one table per kind of mistake."""

    front_straight: Annotated[Event, Word("a front wheel locks in a straight stop")]
    inside_front_lock: Annotated[Event, Word("the inside front locks for a moment while turning")]
    front_turning: Annotated[Event, Word("the front axle is spent while turning: runs wide")]
    rear_straight: Annotated[Event, Word("the rear axle is spent in a straight stop")]
    rear_turning: Annotated[Event, Word("the rear axle is spent while turning: comes round")]


class Driver(Model):
    """A driver file. Scatter is the standard deviation as part of the mean or of the limit."""

    schema_: Annotated[Literal["foreaft.driver/1"], Word("first key of the file")] = Field(
        alias="schema", default="foreaft.driver/1"
    )
    id: Annotated[
        str, Word("lower-case words joined by hyphens"), Field(pattern=SLUG, max_length=60)
    ]
    name: Annotated[str, Word("name"), Field(min_length=1, max_length=80)]
    level: Annotated[Level, Word("whose usual numbers fill in what is not given")]
    hit_sd_frac: Annotated[
        float,
        Quantity(
            "",
            0.001,
            0.5,
            "0.02 to 0.2",
            "scatter of the first hit of the pedal, part of the mean",
            "peak pressure of one zone over ten laps",
        ),
    ]
    hold_sd_frac: Annotated[
        float,
        Quantity("", 0.001, 0.5, "0.02 to 0.15", "scatter of the pedal held in the straight part"),
    ]
    release_sd_frac: Annotated[
        float,
        Quantity("", 0.001, 0.6, "0.04 to 0.3", "scatter while releasing, part of the limit there"),
    ]
    grip_sd_frac: Annotated[
        float,
        Quantity(
            "",
            0,
            0.3,
            "0.02 to 0.04 dry, 0.06 to 0.12 damp",
            "scatter of the grip the driver finds",
        ),
    ]
    brake_point_sd_m: Annotated[
        float, Quantity("m", 0, 40, "1 to 15", "scatter of the brake point")
    ]
    gross_error_frac: Annotated[
        float,
        Quantity(
            "", 0, 0.2, "0.001 to 0.05", "gross mistakes per zone passed, which no margin covers"
        ),
    ]
    use_of_limit_frac: Annotated[
        float | None,
        Quantity(
            "",
            0.3,
            1,
            "0.6 to 0.97",
            "use of the braking limit in the straight part, from a log; "
            "chosen by the model if absent",
        ),
    ] = None
    brake_at_turn_in_frac: Annotated[
        float, Quantity("", 0, 1, "0 to 0.8", "brake left at turn-in / peak")
    ]
    release_frac: Annotated[
        float, Quantity("", 0, 1, "0 to 1", "where the brake is fully released: 0 turn-in, 1 apex")
    ]
    forget_frac: Annotated[
        float, Quantity("", 0, 1, "0.01 to 0.15", "how often a planned change is forgotten")
    ]
    change_cost_s: Annotated[
        float, Quantity("s", 0, 2, "0.01 to 0.1", "attention one change costs")
    ]
    changes_default: Annotated[
        int, Quantity("", 0, 12, "0 to 4", "changes per lap unless asked otherwise")
    ]
    lap_time_sd_s: Annotated[
        float, Quantity("s", 0.01, 10, "0.1 to 1.5", "scatter of clean laps of 90 s")
    ]
    rotation_preference: Annotated[
        float,
        Quantity(
            "",
            -2,
            2,
            "-1 to 1",
            "wanted (rear use - front use) while turning in, in units of 0.04; "
            "above 0 likes the car to rotate",
        ),
    ] = 0.0
    rotation_price_s: Annotated[
        float,
        Quantity("s", 0, 1, "0.02 to 0.08", "what a slow corner loses one unit away from that"),
    ]
    boldness: Annotated[
        float, Quantity("", 0.1, 10, "0.5 to 2", "divides all prices of mistakes, and nothing else")
    ] = 1.0
    reaction_time_s: Annotated[
        float, Quantity("s", 0.1, 1.5, "0.25 to 0.4", "time to catch a car that begins to turn")
    ]
    clutch_in_on_braking: Annotated[bool, Word("true if he brakes with the clutch in")] = False
    events: Annotated[Ladder, Word("what mistakes cost")]

    @model_validator(mode="before")
    @classmethod
    def _fill(cls, data: Any) -> Any:
        """Put the usual numbers of the level where the file gives none."""
        level = data.get("level") if isinstance(data, dict) else None
        if not isinstance(level, str) or level not in PRESETS:
            return data
        events = data.get("events", {})
        usual = _usual(level)
        if isinstance(events, dict):
            usual["events"] = {
                kind: {**numbers, **own} if isinstance(own := events.get(kind, {}), dict) else own
                for kind, numbers in usual["events"].items()
            } | {k: v for k, v in events.items() if k not in EVENTS}
        elif not isinstance(events, Ladder):
            usual["events"] = events
        kept = {k: v for k, v in data.items() if k != "events" or isinstance(v, Ladder)}
        return {**usual, **kept}


PRESETS: Final[dict[str, dict[str, float]]] = {
    "novice": {
        "hit_sd_frac": 0.15,
        "hold_sd_frac": 0.12,
        "release_sd_frac": 0.22,
        "grip_sd_frac": 0.03,
        "brake_point_sd_m": 10.0,
        "gross_error_frac": 0.03,
        "brake_at_turn_in_frac": 0.10,
        "release_frac": 0.2,
        "forget_frac": 0.25,
        "change_cost_s": 0.15,
        "changes_default": 0,
        "lap_time_sd_s": 1.1,
        "rotation_price_s": 0.05,
        "reaction_time_s": 0.40,
    },
    "club": {
        "hit_sd_frac": 0.07,
        "hold_sd_frac": 0.06,
        "release_sd_frac": 0.11,
        "grip_sd_frac": 0.03,
        "brake_point_sd_m": 4.5,
        "gross_error_frac": 0.01,
        "brake_at_turn_in_frac": 0.45,
        "release_frac": 0.65,
        "forget_frac": 0.10,
        "change_cost_s": 0.07,
        "changes_default": 2,
        "lap_time_sd_s": 0.4,
        "rotation_price_s": 0.05,
        "reaction_time_s": 0.30,
    },
    "pro": {
        "hit_sd_frac": 0.03,
        "hold_sd_frac": 0.025,
        "release_sd_frac": 0.055,
        "grip_sd_frac": 0.03,
        "brake_point_sd_m": 2.0,
        "gross_error_frac": 0.002,
        "brake_at_turn_in_frac": 0.60,
        "release_frac": 0.9,
        "forget_frac": 0.02,
        "change_cost_s": 0.02,
        "changes_default": 3,
        "lap_time_sd_s": 0.18,
        "rotation_price_s": 0.05,
        "reaction_time_s": 0.25,
    },
}
"""Common practice, no source: the middle of the usual span of each level.

For novices the share of forgotten changes and the cost of one are our own guess: they are not
meant to change anything.
"""

_SPIN_ON_ENTRY: Final = {"novice": 0.37, "club": 0.14, "pro": 0.05}
_SPIN_STRAIGHT: Final = {"novice": 0.45, "club": 0.17, "pro": 0.08}
_SPIN_S, _RUN_OFF_S, _CONTACT_S = 20.0, 6.0, 60.0


def _usual(level: str) -> dict[str, Any]:
    """Give the preset of a level. Common practice, no source, all of it."""
    return dict(PRESETS[level]) | {
        "events": {
            "front_straight": {"caught_s": 0.25, "run_off_frac": 0.06, "run_off_s": _RUN_OFF_S},
            "inside_front_lock": {"caught_s": 0.06},
            "front_turning": {"caught_s": 0.20, "run_off_frac": 0.03, "run_off_s": _RUN_OFF_S},
            "rear_straight": {
                "caught_s": 0.4,
                "spin_frac": _SPIN_STRAIGHT[level],
                "spin_s": _SPIN_S,
                "contact_frac": 0.1 * _SPIN_STRAIGHT[level],
                "contact_s": _CONTACT_S,
            },
            "rear_turning": {
                "caught_s": 0.5,
                "spin_frac": _SPIN_ON_ENTRY[level],
                "spin_s": _SPIN_S,
                "contact_frac": 0.1 * _SPIN_ON_ENTRY[level],
                "contact_s": _CONTACT_S,
            },
        }
    }


def assumptions(driver: Driver) -> list[dict[str, Any]]:
    """Give the numbers that are the level's usual ones, not the driver's own."""
    usual = _usual(driver.level)
    return [
        {
            "key": key,
            "value": value,
            "unit": _unit(key),
            "source": f"assumption: usual for the level {driver.level}; common practice, no source",
        }
        for key, value in _flat(usual)
        if _value(driver, key) == value
    ]


def _flat(table: Mapping[str, Any], prefix: str = "") -> list[tuple[str, float]]:
    found: list[tuple[str, float]] = []
    for key, value in table.items():
        if isinstance(value, dict):
            found += _flat(value, f"{prefix}{key}.")
        else:
            found.append((prefix + key, value))
    return found


def _value(driver: Driver, key: str) -> Any:
    found: Any = driver
    for part in key.split("."):
        found = getattr(found, part)
    return found


def _unit(key: str) -> str:
    return {"s": "s", "m": "m"}.get(key.rpartition("_")[2], "")
