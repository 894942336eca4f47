"""Files written back say the same; identity; lines of keys; what ships with the package."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.files import templates, toml
from foreaft.files.circuits import read_circuit
from foreaft.files.classes import class_names, class_text, demo_folder, load_class
from foreaft.files.sheet import (
    dump_marks,
    dump_sheet,
    parse_marks,
    parse_sheet,
    read_zone_sheet,
    read_zones,
)
from foreaft.files.trial_laps import read_laps
from foreaft.model.car import Car, assumptions, draw, numbers, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.model.fields import revision
from model.car_text import PLAIN, changed, plain_car


def packaged() -> list[tuple[str, str]]:
    found = [(f"class {n}", class_text(n)) for n in class_names()]
    demo = [
        (n, (demo_folder() / n).read_text("utf-8"))
        for n in ("car.toml", "driver.toml", "dry.toml", "wet.toml")
    ]
    return found + demo + [(k, templates.template(k)) for k in ("car", "driver", "conditions")]


@pytest.mark.parametrize(("name", "text"), packaged(), ids=[n for n, _ in packaged()])
def test_toml_round_trip(name: str, text: str) -> None:
    kind = toml.KINDS[toml.parse_plain(text)["schema"]]
    model = toml.parse(text, kind)
    again = toml.parse(toml.dump(model), kind)
    assert again == model
    assert revision(again) == revision(model)


def test_revision_is_of_the_content() -> None:
    one = revision(plain_car())
    assert len(one) == 12
    assert one == revision(toml.parse("# a comment\n" + PLAIN.replace("1200", "1200.0"), Car))
    assert one != revision(plain_car(("mass_kg = 1200", "mass_kg = 1201")))


def test_lines_of_keys() -> None:
    text = "\n".join(
        [
            'a = """',
            "[not.a.table]",
            "b = 1",
            '"""',
            "c = [",
            " 1, # [x]",
            " 2,",
            "]",
            "[t]",
            "d.e = { f = 1 }",
            "[[u]]",
            "g = 1",
            "[[u]]",
            "g = 2",
            "[u.v]",
            "h = '#'",
            'i = "["',
            "j = 3",
        ]
    )
    index = toml.line_index(text)
    toml.parse_plain(text)
    found = {
        (): None,
        ("a",): 1,
        ("c",): 5,
        ("t",): 9,
        ("t", "d", "e"): 10,
        ("u", 0, "g"): 12,
        ("u", 1, "g"): 14,
        ("u", 1, "v", "h"): 16,
        ("u", 1, "v", "j"): 18,
    }
    for path, line in found.items():
        assert index.get(path) == line, path
    assert ("b",) not in index
    assert toml.line_of(index, ("t", "d", "e", "f")) == 10


@pytest.mark.parametrize("kind", templates.KINDS)
def test_templates_pass_the_check_as_written(kind: str, tmp_path: Path) -> None:
    tables = {"circuit": read_circuit, "sheet": read_zone_sheet, "trial-laps": read_laps}
    file = tmp_path / ("x.csv" if kind in tables else "x.toml")
    templates.write_template(file, kind)
    reader = tables.get(kind, toml.read_any)
    reader(file)
    before = file.read_bytes()
    with pytest.raises(InputError) as caught:
        templates.write_template(file, kind)
    assert caught.value.code == "file_exists"
    assert file.read_bytes() == before


def test_unknown_templates() -> None:
    for kind, name in (("van", None), ("driver", "gt-mid"), ("car", "van")):
        with pytest.raises(InputError):
            templates.template(kind, name)


@pytest.mark.parametrize("name", class_names())
def test_classes_are_honest(name: str) -> None:
    """Everything a class says is an assumption, and no plan comes from it unconfirmed."""
    car = load_class(name)
    assert car.adjuster is not None
    assert car.adjuster.higher_means is None
    assert car.anchor is None
    told = {a["key"] for a in assumptions(car)}
    assert {k for k, number in numbers(car).items() if not number.is_known} <= told
    assert all("no source" in str(a["source"]) for a in assumptions(car))
    with pytest.raises(InputError):
        vectors(car, draw(car, 0, 0), Conditions())


def test_there_are_seven_classes() -> None:
    assert len(class_names()) == 7
    with pytest.raises(InputError, match="no such class"):
        load_class("van")


@pytest.mark.parametrize("name", class_names())
@pytest.mark.parametrize(("lowest", "highest"), [(None, None), (40.0, 60.0)])
def test_a_class_takes_the_numbers_of_one_car(
    name: str, lowest: float | None, highest: float | None
) -> None:
    car = load_class(name)
    assert car.adjuster is not None
    adjuster = car.adjuster.renumbered(
        today=52.0, step=0.5, higher_means="rear", lowest=lowest, highest=highest
    )
    mine = car.replace(adjuster=adjuster, anchor={"setting": 52.0, "first_to_let_go": "front"})
    share = vectors(mine, draw(mine, 0, 0), Conditions()).share[0]
    before = car.replace(adjuster=car.adjuster.replace(higher_means="front"))
    whole = vectors(before, draw(before, 0, 0), Conditions()).share[0]
    assert np.all(np.diff(share) < 0.0), "a higher number means rear"
    assert share[[0, -1]] == pytest.approx(whole[[-1, 0]], abs=1e-9)
    assert np.any(mine.adjuster.settings == 52.0)  # type: ignore[union-attr]


def test_the_demo_is_whole(tmp_path: Path) -> None:
    for name in ("sheet.csv", "zones.csv", "brackwater.csv", "car.toml"):
        (tmp_path / name).write_bytes((demo_folder() / name).read_bytes())
    assert len(read_zone_sheet(tmp_path / "sheet.csv").zones()) == 8
    marks = read_zones(tmp_path / "zones.csv")
    circuit = read_circuit(tmp_path / "brackwater.csv")
    assert circuit.closed
    length = np.hypot(*np.diff(np.column_stack([circuit.x_m, circuit.y_m]), axis=0).T).sum()
    assert 3800 < length < 4500
    assert 10 <= len(marks) <= 12
    assert all(m.apex_s_m < length for m in marks)


# ---------------------------------------------------------------- sheets

HEAD = "name,approach_kmh,min_kmh,radius_m,lateral_g,depth_frac,direction,hand_time_s\n"


def test_a_row_in_si() -> None:
    zone = parse_sheet(HEAD + "A,180,72,20,,0.5,left,2\n", "x").zones()[0]
    assert (zone.zone_id, zone.approach_speed_mps, zone.apex_speed_mps) == ("z01", 50.0, 20.0)
    assert zone.apex_radius_m == 20.0
    assert zone.apex_s_m is None
    assert (zone.surface, zone.run_off) == ("normal", "open")


def test_cornering_load_becomes_a_radius() -> None:
    """v^2 / (n g): 20 m/s at 1 g is 40.789 m."""
    zone = parse_sheet(HEAD + "A,180,72,,1.0,0.5,left,2\n", "x").zones()[0]
    assert zone.apex_radius_m == pytest.approx(400 / 9.80665, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        HEAD + "A,180,72.5,20,,0.5,left,2\nB,90,50,,1.25,0,right,0\n",
        "\ufeff"
        + HEAD.replace(",", ";")
        + "A;180;72,5;20;;0,5;left;2\n\nB;90;50;;1,25;0;right;0\n",
        "# typed by hand\n" + HEAD.replace(",", "\t") + "A\t180\t72,5\t20\t\t0.5\tleft\t2\n"
        "B\t90\t50\t\t1.25\t0\tright\t0\n",
        HEAD.replace(",", " , ") + "A , 180 , 72.5,20,, .5,left,2\r\nB,90,50,,1.25,0,right,0\r\n",
    ],
    ids=["comma", "semicolon", "tab", "blanks"],
)
def test_separators_and_decimal_marks(text: str, tmp_path: Path) -> None:
    file = tmp_path / "Two Corners.csv"
    file.write_text(text, "utf-8")
    sheet = read_zone_sheet(file)
    wanted = parse_sheet(HEAD + "A,180,72.5,20,,0.5,left,2\nB,90,50,,1.25,0,right,0\n", "x")
    assert [r.min_kmh for r in sheet.rows] == [r.min_kmh for r in wanted.rows]
    assert [r.lateral_g for r in sheet.rows] == [r.lateral_g for r in wanted.rows]
    assert sheet.id == "two-corners"


def test_sheet_round_trip() -> None:
    for text in (
        (demo_folder() / "sheet.csv").read_text("utf-8"),
        templates.template("sheet"),
        HEAD + '"Esses, in",150.5,90,30,,1,right,0.25\n"Say ""B""",99,50,9,,0,left,1\n',
    ):
        sheet = parse_sheet(text, "x")
        assert parse_sheet(dump_sheet(sheet), "x") == sheet


def test_marks_round_trip() -> None:
    marks = parse_marks((demo_folder() / "zones.csv").read_text("utf-8"))
    assert parse_marks(dump_marks(marks)) == marks


ROW = "A,180,72,20,,0.5,left,2\n"


@pytest.mark.parametrize(
    ("text", "key", "value", "line"),
    [
        (HEAD + ROW.replace("180", "fast"), "approach_kmh", "fast", 2),
        (HEAD + ROW.replace("180", "180 km/h"), "approach_kmh", "180 km/h", 2),
        (HEAD + ROW.replace("180", "nan"), "approach_kmh", "nan", 2),
        (HEAD + ROW.replace("180", "inf"), "approach_kmh", "inf", 2),
        (HEAD + ROW.replace("180", "1e999"), "approach_kmh", "inf", 2),
        (HEAD + ROW.replace("180", "1_80"), "approach_kmh", "1_80", 2),
        (HEAD + ROW.replace("180", "-180"), "approach_kmh", -180.0, 2),
        (HEAD + ROW.replace("180", "\uff11\uff18\uff10"), "approach_kmh", "\uff11\uff18\uff10", 2),
        (HEAD + ROW.replace("180", ""), "approach_kmh", None, 2),
        (HEAD + ROW + ROW.replace("0.5", "5"), "depth_frac", 5.0, 3),
        (HEAD + "# note\n\n" + ROW.replace("left", "links"), "direction", "links", 4),
        (HEAD + ROW.replace("180", "60"), "min_kmh", 72.0, 2),
        (HEAD + ROW.replace(",20,,", ",20,1.2,"), "lateral_g", 1.2, 2),
        (HEAD + ROW.replace(",20,,", ",,,"), "radius_m", None, 2),
        (HEAD + ROW.replace(",2\n", "\n"), "row", 7, 2),
        (HEAD + ROW.replace("72", "72,5"), "row", 9, 2),
        (HEAD + ROW.replace("A", '"A'), "row", '"A,180,72,20,,0.5,left,2', 2),
        (HEAD, "rows", 0, 1),
        (HEAD + ROW * 61, "rows", 61, 1),
        (HEAD.replace("min_kmh", "min_mph") + ROW, "header", "min_mph", 1),
        (HEAD.replace("radius_m,lateral_g", "radius_m,radius_m") + ROW, "header", None, 1),
        (HEAD.replace("min_kmh,", "") + ROW.replace("72,", ""), "header", None, 1),
        ("#\n#\n", "header", "", 1),
    ],
)
def test_sheets_refused(text: str, key: str, value: object, line: int) -> None:
    with pytest.raises(InputError) as caught:
        parse_sheet(text, "x", "x.csv")
    error = caught.value
    assert (error.file, error.line, error.key) == ("x.csv", line, key)
    if value is not None:
        assert error.value == value
    assert error.allowed
    assert error.hint
    assert error.unit is not None


def test_a_decimal_comma_needs_semicolons() -> None:
    with pytest.raises(InputError, match="number belongs"):
        parse_sheet(HEAD + ROW.replace("72", '"72,5"'), "x")


def test_an_id_twice() -> None:
    with pytest.raises(InputError) as caught:
        parse_marks("zone_id,name,apex_s_m\nz01,A,10\nz01,B,500\n", "zones.csv")
    assert (caught.value.line, caught.value.key) == (3, "zone_id")


def test_driver_and_conditions_by_default() -> None:
    assert Conditions().density_kgpm3 == 1.225
    driver = Driver(id="a", name="A", level="pro")
    assert driver.changes_default == 3
    assert toml.parse(changed(), Car).schema_ == "foreaft.car/1"
