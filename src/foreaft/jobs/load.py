"""Cars, drivers and conditions by file or by name."""

from __future__ import annotations

from pathlib import Path
from typing import Final, get_args

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import CannotTell, InputError
from foreaft.files import toml
from foreaft.files.classes import class_names, load_class
from foreaft.files.draws import read_draws
from foreaft.jobs.requests import Choices, Moved, Quick
from foreaft.model.adjuster import Adjuster
from foreaft.model.answers import MovedKey, MovedNumber
from foreaft.model.car import Car
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver, Level
from foreaft.model.fields import build
from foreaft.model.parts import Anchor, Axle

LEVELS: Final[tuple[str, ...]] = get_args(Level)

SCATTERS: Final = ("hit_sd_frac", "hold_sd_frac", "release_sd_frac")
"""What a driver's foot scatters."""


def load_car(wanted: Path | str, quick: Quick | None = None) -> tuple[Car, str | None]:
    """The car of a file or of a class, with the anchor of a quick start set on it.

    Returns the car and the file it came from, None for a class.
    """
    name = str(wanted)
    if name in class_names():
        car, file = load_class(name), None
    else:
        path = Path(wanted)
        if not path.exists() and path.suffix != ".toml":
            raise InputError(
                f"there is no car class and no file called {name}",
                code="unknown_car",
                key="car",
                value=name,
                allowed=", ".join(class_names()),
                hint="give a class of that list, or a car file ending in .toml",
            )
        car, file = toml.read_car(path), name
    return (car if quick is None else anchored(car, quick)), file


def anchored(car: Car, quick: Quick) -> Car:
    """The car with today's setting, the direction of the adjuster and the first end to let go."""
    adjuster = car.adjuster
    if adjuster is None:
        raise InputError(
            "this car has no adjuster",
            code="no_adjuster",
            key="adjuster",
            allowed="a table [adjuster]",
            hint="add one to the car file, or take a class of car",
        )
    if adjuster.meaning == "unknown":
        moved = adjuster.renumbered(
            today=quick.today,
            step=adjuster.step if quick.step is None else quick.step,
            higher_means=quick.higher,
            lowest=quick.lowest,
            highest=quick.highest,
        )
    else:
        told = {"min": quick.lowest, "max": quick.highest, "step": quick.step}
        given = {name: value for name, value in told.items() if value is not None}
        moved = adjuster.replace(higher_means=quick.higher, **given)
    anchor = Anchor(setting=quick.today, first_to_let_go=quick.first, mid_corner=quick.mid_corner)
    return car.replace(adjuster=moved, anchor=anchor)


def driven_by(car: Car, driver: Driver) -> Car:
    """The car as this driver brakes it: with or without the engine."""
    if not driver.clutch_in_on_braking:
        return car
    return car.replace(drive=car.drive.replace(clutch_in_on_braking=True))


def joint_draws(car: Car, file: str | None) -> dict[str, NDArray[np.float64]] | None:
    """The joint draws a car file names, read from beside it; None where it names none."""
    if car.draws_file is None or file is None:
        return None
    return read_draws(Path(file).parent / car.draws_file)


def load_driver(wanted: Path | str | None) -> tuple[Driver, str | None]:
    """The driver of a file or of a level; a club driver where nothing is said."""
    name = "club" if wanted is None else str(wanted)
    if name in LEVELS:
        return build(Driver, {"id": name, "name": name, "level": name}), None
    return toml.read_driver(Path(name)), name


def load_conditions(wanted: Path | None) -> tuple[Conditions, str | None]:
    """The conditions of a file; dry where nothing is said."""
    if wanted is None:
        return Conditions(), None
    return toml.read_conditions(wanted), str(wanted)


def moved_driver(driver: Driver, asked: Moved) -> Driver:
    """The driver with the numbers that a request moves; out of range they are refused."""
    told = {} if asked.boldness is None else {"boldness": asked.boldness}
    if asked.scatter_scale is not None:
        told |= {name: getattr(driver, name) * asked.scatter_scale for name in SCATTERS}
    return driver.replace(**told) if told else driver


def moved_day(conditions: Conditions, asked: Moved) -> Conditions:
    """The conditions with the numbers that a request moves; out of range they are refused."""
    told = {"grip_scale": asked.grip_scale, "fuel_kg": asked.fuel_kg}
    given = {name: value for name, value in told.items() if value is not None}
    return conditions.replace(**given) if given else conditions


def moved_numbers(asked: Choices, driver: Driver, conditions: Conditions) -> list[MovedNumber]:
    """What a request moves away from driver and conditions as their files say."""
    told: list[tuple[MovedKey, float | None, float | None]] = [
        ("grip_scale", asked.grip_scale, conditions.grip_scale),
        ("fuel_kg", asked.fuel_kg, conditions.fuel_kg),
        ("scatter_scale", asked.scatter_scale, 1.0),
        ("boldness", asked.boldness, driver.boldness),
        ("changes_max", asked.changes, driver.changes_default),
        ("change_cost_s", asked.change_cost_s, driver.change_cost_s),
    ]
    return [
        MovedNumber(key=key, value=value, in_file=own)
        for key, value, own in told
        if value is not None and value != own
    ]


def way_of(adjuster: Adjuster | None, told: Axle | None, *, what: str, because: str) -> Axle:
    """Which axle a bigger number means: by the car file, or as told where there is none.

    Raises
    ------
    CannotTell
        With ``what`` and ``because``, if nobody has said it.
    InputError
        If car file and user say different things.
    """
    higher = told if adjuster is None else adjuster.higher_means
    if higher is None:
        raise CannotTell(
            what,
            because=because,
            would_settle="--higher front or --higher rear, or --car with a car file that says it",
        )
    if told not in (None, higher):
        raise InputError(
            "the car file says the other way",
            code="contradiction",
            key="higher",
            value=told,
            allowed=higher,
            hint="correct one of the two; which way the number counts must be certain",
        )
    return higher


def known_adjuster(car: Car) -> Adjuster:
    """The adjuster of a car that is to be planned for: its direction must be known.

    Raises
    ------
    InputError
        If the car has none.
    CannotTell
        If nobody has said which way it counts, or an unknown scale has no anchor.
    """
    adjuster = car.adjuster
    if adjuster is None:
        raise InputError(
            "this car has no adjuster, so there is nothing to plan",
            code="no_adjuster",
            key="adjuster",
            allowed="a table [adjuster] with min, max, step, meaning, higher_means",
            hint="write one into the car file",
        )
    if adjuster.higher_means is None:
        raise CannotTell(
            "any setting",
            because="nobody has confirmed which way the adjuster counts, and the wrong way hurts",
            would_settle='adjuster.higher_means = "front" or "rear" in the car file; stop gently '
            "from low speed at both ends of the range and see which wheels work harder; of a class "
            "of car, tell it by --today, --higher and --first",
        )
    if adjuster.needs_anchor and car.anchor is None:
        raise CannotTell(
            "any setting",
            because="the number on the adjuster is not tied to anything",
            would_settle="the setting run today and which end lets go first in a straight stop: "
            "[anchor] in the car file, or --today, --higher and --first",
        )
    return adjuster
