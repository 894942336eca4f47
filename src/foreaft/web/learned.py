"""A learned car into the library: the car file, and the joint draws it names beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from foreaft.files.atomic import write_file
from foreaft.files.draws import read_draws
from foreaft.files.library import revision_of
from foreaft.web.changing import changed
from foreaft.web.faces import Item
from foreaft.web.references import file_of
from foreaft.web.shelves import Shelves
from foreaft.web.things import text_of

CAR_FILE: Final = "car.toml"


def keep_learned(
    shelves: Shelves, name: str, work: str, title: str | None, based_on: str | None
) -> Item:
    """Save the car a work has learned.

    The draws are named after their own bytes, so that a former version of the car finds its own.

    Raises
    ------
    InputError
        If the work has learned no car, or as for every save.
    """
    file = file_of("car", f"{work}/{CAR_FILE}", shelves.library)
    assert isinstance(file, Path)  # only names of classes are no files
    text = text_of("cars", file) or ""
    changes: dict[str, object] = {"id": name}
    if title is not None:
        changes["name"] = title
    draws = file.with_name("draws.csv")
    if draws.is_file():
        read_draws(draws)
        data = draws.read_bytes()
        beside = shelves.library.place("cars", name).with_name(
            f"{name}.{revision_of(data)}.draws.csv"
        )
        write_file(beside, data)
        changes["draws_file"] = beside.name
    return shelves.save("cars", name, changed(text, changes), based_on)
