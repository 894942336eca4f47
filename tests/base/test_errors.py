"""The exception tree, its exit codes, its form for machines and for people."""

from __future__ import annotations

import json
import pickle
import re

import pytest

from foreaft.base import errors
from foreaft.base.errors import (
    Cancelled,
    CannotTell,
    ForeaftError,
    InputError,
    MissingPart,
    NoPlan,
)

WRONG_MASS = InputError(
    "The mass is negative.",
    code="out_of_range",
    file="car.toml",
    line=7,
    key="mass_kg",
    value=-3.0,
    allowed="100 to 5000",
    unit="kg",
    hint="Write the mass with driver and fuel.",
)
ALL = [
    WRONG_MASS,
    CannotTell("the rear grip", "no lap reached it", "three straight stops"),
    NoPlan("No plan.", hint="Allow more changes."),
    MissingPart("No fonts.", hint="Install them."),
    Cancelled(),
]
FIELDS = ["schema", "code", "message", "file", "line", "key", "value", "allowed", "unit", "hint"]


@pytest.mark.parametrize(("error", "code"), list(zip(ALL, [2, 4, 5, 3, 130], strict=True)))
def test_exit_codes(error: ForeaftError, code: int) -> None:
    assert error.exit_code == code


@pytest.mark.parametrize("error", ALL)
def test_every_error_has_the_published_fields(error: ForeaftError) -> None:
    assert list(json.loads(json.dumps(error.as_dict()))) == FIELDS
    assert error.as_dict()["schema"] == "foreaft.error/1"


@pytest.mark.parametrize("error", ALL)
def test_errors_come_back_whole_from_another_process(error: ForeaftError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert again.as_dict() == error.as_dict()
    assert str(again) == str(error)


@pytest.mark.parametrize("error", ALL)
def test_people_get_one_to_three_lines(error: ForeaftError) -> None:
    assert 1 <= len(str(error).splitlines()) <= 3


def test_an_input_error_names_everything_it_knows() -> None:
    text = str(WRONG_MASS)
    for part in ("car.toml:7", "mass_kg", "-3.0 kg", "100 to 5000 kg", "Write the mass"):
        assert part in text


def test_a_value_json_cannot_hold_is_shown_as_text() -> None:
    error = InputError("No.", code="x", value=[1, 2], hint="")
    assert error.as_dict()["value"] == "[1, 2]"


def test_a_value_that_is_no_number_is_shown_so_that_json_can_hold_it() -> None:
    error = InputError("Not a number.", code="x", value=float("nan"), hint="")
    json.dumps(error.as_dict(), allow_nan=False)


def test_the_tree_in_the_docstring_is_the_tree() -> None:
    tree = (errors.__doc__ or "").split("::")[1]
    drawn = dict(re.findall(r"([A-Z]\w+) +(?:exit code +)?(\d+)", tree))
    kinds = [ForeaftError, *ForeaftError.__subclasses__()]
    assert drawn == {kind.__name__: str(kind.exit_code) for kind in kinds}
