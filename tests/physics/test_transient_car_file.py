"""The ``[transient]`` table of a car file: read by the driven car, and by nothing else."""

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.jobs.load import load_car
from foreaft.model.car import assumptions, draw, numbers, transient_assumptions
from foreaft.model.fields import plain
from foreaft.model.parts import TRANSIENT_DEFAULTS, Transient
from foreaft.physics import layout
from physics.driving import arrays

DEMO = Path(str(files("foreaft"))) / "data" / "demo" / "car.toml"
PLACES = [*(name for name in TRANSIENT_DEFAULTS if name in layout.INDEX), "steer_limit_rad"]


@pytest.fixture
def car():
    return load_car(DEMO)[0]


def test_what_is_given_reaches_the_kernels_and_the_rest_is_the_default(car):
    given = car.replace(transient=Transient(roll_lag_s=0.11, steer_limit_deg=20.0))
    vector, _ = arrays(given)
    assert vector[layout.ROLL_LAG] == 0.11
    assert vector[layout.STEER_LIMIT] == pytest.approx(np.pi / 9.0)
    assert vector[layout.PITCH_LAG] == TRANSIENT_DEFAULTS["pitch_lag_s"]


def test_no_other_number_of_the_car_changes_and_nothing_is_drawn(car):
    given = car.replace(transient=Transient(relaxation_along_m=0.2, brake_delay_s=0.03))
    before, table = arrays(car)
    after, same_table = arrays(given)
    others = [i for name, i in layout.INDEX.items() if name not in PLACES]
    assert (after[others] == before[others]).all()
    assert (after != before).sum() == 2
    assert (table == same_table).all()
    assert numbers(given).keys() == numbers(car).keys()
    one, two = draw(car, 3, 5), draw(given, 3, 5)
    assert all((one[key] == two[key]).all() for key in one)


def test_a_file_without_the_table_reads_as_it_did(car):
    """The revision is made of these plain values: no new key may appear in them."""
    assert "transient" not in plain(car)
    assert not any(one["key"].startswith("transient") for one in assumptions(car))


def test_what_stands_in_is_shown_with_its_unit(car):
    shown = {one["key"]: one for one in transient_assumptions(car)}
    assert set(shown) == {f"transient.{name}" for name in TRANSIENT_DEFAULTS}
    assert shown["transient.relaxation_across_m"]["unit"] == "m"
    assert all(one["source"].startswith("assumption") for one in shown.values())
    given = car.replace(transient=Transient(pitch_lag_s=0.1))
    assert "transient.pitch_lag_s" not in {one["key"] for one in transient_assumptions(given)}


@pytest.mark.parametrize(
    ("name", "value"),
    [("relaxation_along_m", 0.0), ("brake_delay_s", 0.0), ("steer_limit_deg", 90.0)],
)
def test_impossible_values_are_refused_by_name(tmp_path, name, value):
    file = tmp_path / "car.toml"
    file.write_text(f"{DEMO.read_text('utf-8')}\n[transient]\n{name} = {value}\n", "utf-8")
    with pytest.raises(InputError) as caught:
        load_car(file)
    assert caught.value.key == f"transient.{name}"
    assert caught.value.code == "out_of_range"
