"""What a debrief cannot tell from the channels of a log, why, and what would settle it."""

from __future__ import annotations

from typing import Final

from foreaft.laps.series import BRAKE_CHANNELS
from foreaft.laps.session import Session
from foreaft.logs.recording import Recording
from foreaft.model.answers_debrief import Untold
from foreaft.report import debrief_words as words

NEEDS: Final[tuple[tuple[str, str, str, str], ...]] = (
    (
        "brake",
        "how the pedal was hit, held and released",
        "the log has no brake channel; brake points and releases come from the deceleration, and "
        "may be off by a few metres",
        "a brake pressure or pedal channel",
    ),
    (
        "wheels",
        "lock-ups",
        "the log has no wheel speeds",
        "the four wheel speeds, at 25 Hz or more",
    ),
    (
        "steer",
        "counter-steer, and steer without response",
        "the log has no steer channel that fits the bends",
        "steering wheel angle",
    ),
    (
        "position",
        "which line was driven",
        "the log has no position; places along the lap come from speed and turning, and are good "
        "to a few metres",
        "GPS position",
    ),
    (
        "setting",
        "what each setting did",
        "the log does not carry the adjuster's setting",
        "the setting as a channel, or one run per setting",
    ),
)


SLOPES_OF_PLACES: Final = Untold(
    what="braking left unused, and double stabs",
    because="speed and deceleration are made of the position, which swings by itself; brake "
    "points may be off by ten metres",
    would_settle="a speed channel and an accelerometer",
)

LENT_PLACES: Final = Untold(
    what="which line was driven, and the use of grip",
    because="the log has neither position nor turning; places come from the way since the start "
    "line, stretched to the circuit's length, and cornering from the circuit",
    would_settle="GPS position, or a lateral accelerometer or yaw rate sensor",
)


def _asked_brake(recording: Recording) -> str:
    """A column that may be the brake's, if one was asked for; else nothing."""
    brakes = {name for names in BRAKE_CHANNELS for name in names}
    for one in recording.every():
        if one.state == "asked" and any(c.partition(":")[0] in brakes for c in one.choices):
            return one.original_name
    return ""


def cannot_tell(session: Session, car_known: bool) -> list[Untold]:
    """What the channels of a session cannot tell."""
    sources = session.series.sources
    missing = {
        key: Untold(what=what, because=because, would_settle=settles)
        for key, what, because, settles in NEEDS
        if key not in sources
    }
    asked = _asked_brake(session.recording)
    if asked and "brake" in missing:
        because = (
            f"{asked} is not used until somebody says what it is; brake points come from the "
            "deceleration, and may be off by a few metres"
        )
        missing["brake"] = missing["brake"].model_copy(
            update={"because": because, "would_settle": f"--map {asked}=..."}
        )
    if session.series.lent:
        missing.pop("position", None)  # the sentence below says it with the rest
    found = [*missing.values()]
    if session.series.speed_from_position:
        found.append(SLOPES_OF_PLACES)
    if session.series.lent:
        found.append(LENT_PLACES)
    front, rear = session.series.pressure_front_Pa, session.series.pressure_rear_Pa
    if front is None or rear is None:
        found.append(
            Untold(
                what="the pressure share",
                because="the log does not have both line pressures",
                would_settle="front and rear brake pressure",
            )
        )
    if session.evidence.axles.rear_rad is None:
        found.append(
            Untold(
                what="how far the tail came out",
                because="that needs a lateral accelerometer and a yaw rate, and straights between",
                would_settle="a lateral accelerometer and a yaw rate sensor",
            )
        )
    if session.anti_lock:
        found.append(
            Untold(
                what="lock-ups",
                because="this car has anti-lock: its wheels dip and come back by design",
                would_settle="no channel does; look at the braking left unused and at rotation",
            )
        )
    if not car_known:
        found.append(
            Untold(
                what="the use of grip against the car's limit",
                because="no car file was given"
                + (
                    ""
                    if session.series.lent
                    else "; use is told against what the car showed elsewhere"
                ),
                would_settle="--car with a car file or a class",
            )
        )
    if len(session.full) < 3:
        found.append(
            Untold(
                what="how even the driver is",
                because=f"the session has {words.full_laps(len(session.full))}",
                would_settle="five full laps or more",
            )
        )
    return found
