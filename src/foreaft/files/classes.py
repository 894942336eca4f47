"""The packaged classes of car, for who knows nothing but the class; and the packaged demo."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Final

from foreaft.base.errors import InputError
from foreaft.files.toml import parse
from foreaft.model.car import Car

SUFFIX: Final = ".toml"


def class_names() -> tuple[str, ...]:
    """Give the names of the packaged classes, in alphabetical order."""
    return tuple(
        sorted(
            one.name.removesuffix(SUFFIX)
            for one in _classes().iterdir()
            if one.name.endswith(SUFFIX)
        )
    )


def load_class(name: str) -> Car:
    """Give the car of a class: honest ranges, every one marked as an assumption.

    Raises
    ------
    InputError
        If there is no such class.
    """
    return parse(class_text(name), Car, f"class {name}")


def class_text(name: str) -> str:
    """Give the commented file of a class, to start a car file from; ``InputError`` as above."""
    if name not in class_names():
        raise InputError(
            "There is no such class of car.",
            code="class_unknown",
            key="class",
            value=name,
            allowed=", ".join(class_names()),
            unit="",
            hint="Take the nearest, and replace the numbers you know.",
        )
    return (_classes() / f"{name}{SUFFIX}").read_text("utf-8")


def demo_folder() -> Traversable:
    """Give the folder of the packaged demo: car.toml, driver.toml, dry.toml, wet.toml, sheet.csv,
    brackwater.csv and zones.csv, all of it invented."""
    return files("foreaft") / "data" / "demo"


def _classes() -> Traversable:
    return files("foreaft") / "data" / "classes"
