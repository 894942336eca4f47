"""The library over HTTP, and the jobs: same request, same answer as the command line."""

from __future__ import annotations

import json
import os
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from cli.conftest import Said
from foreaft.base.errors import InputError
from foreaft.cli import main
from foreaft.logs.channels import CHANNELS
from foreaft.web.app import Parts
from web.conftest import refused

CAR = "cars/halden-gt"
ROAD = {"circuit": "circuits/brackwater", "driver": "drivers/mara-venn"}
RAW = {"Content-Type": "application/octet-stream"}


def item(client: TestClient, reference: str) -> dict[str, Any]:
    told: dict[str, Any] = client.get(f"/api/library/{reference}").json()["item"]
    return told


# ---------------------------------------------------------------- the library


def test_the_demo_is_there_at_the_first_start_only(parts: Parts, client: TestClient) -> None:
    listing = client.get("/api/library").json()
    assert listing["damaged"] == []
    things = {f"{one['kind']}/{one['id']}": one["name"] for one in listing["items"]}
    assert things == {
        "cars/halden-gt": "Halden GT",
        "drivers/mara-venn": "Mara Venn",
        "conditions/dry": "Dry",
        "conditions/wet": "Wet",
        "sheets/eight-corners": "Eight Corners",
        "circuits/brackwater": "Brackwater",
        "zones/brackwater": "Brackwater",
    }
    assert all(one["problem"] is None for one in listing["items"])
    revision = item(client, CAR)["revision"]
    client.delete(f"/api/library/{CAR}?based_on={revision}")
    from foreaft.web.shelves import begin

    begin(parts.library)
    assert refused(client.get(f"/api/library/{CAR}"), 404)["code"] == "unknown_thing"


def test_keys_are_set_and_comments_stay(parts: Parts, client: TestClient) -> None:
    before = parts.library.place("cars", "halden-gt").read_text().splitlines()
    changes = {
        "mass_kg": {"low": 1350, "high": 1370},
        "fuel.aboard_kg": 25,
        "tyre.load_sensitivity_frac": None,
        "drive.clutch_in_on_braking": True,
    }
    asked = {"changes": changes, "based_on": item(client, CAR)["revision"]}
    assert client.patch(f"/api/library/{CAR}", json=asked).status_code == 200
    after = parts.library.place("cars", "halden-gt").read_text().splitlines()
    gone = [line for line in before if line not in after]
    new = [line for line in after if line not in before]
    assert [line.split(" = ")[0] for line in gone] == [
        "mass_kg",
        "aboard_kg",
        "load_sensitivity_frac",
    ]
    assert {"mass_kg = {low = 1350, high = 1370}", "aboard_kg = 25"} <= set(new)
    value = client.get(f"/api/library/{CAR}").json()["value"]
    assert value["drive"]["clutch_in_on_braking"] is True


def test_a_comment_behind_a_changed_value_stays(client: TestClient, parts: Parts) -> None:
    asked = {
        "changes": {"release_frac": 0.8},
        "based_on": item(client, "drivers/mara-venn")["revision"],
    }
    client.patch("/api/library/drivers/mara-venn", json=asked)
    text = parts.library.place("drivers", "mara-venn").read_text()
    assert "release_frac = 0.8           # invented" in text


def test_nothing_a_job_would_refuse_is_saved(client: TestClient) -> None:
    revision = item(client, CAR)["revision"]
    for changes, key in (
        ({"tyre.mu_x": 9.0}, "tyre.mu_x"),
        ({"mass_lb": 3000}, "mass_lb"),
        ({"name": ""}, "name"),
        ({"draws_file": "../../secret.csv"}, "draws_file"),
    ):
        asked = {"changes": changes, "based_on": revision}
        told = refused(client.patch(f"/api/library/{CAR}", json=asked), 400)
        assert told["key"] == key
        assert told["file"] == CAR or key == "draws_file"
    for text in ("", "x", "x = [", 'schema = "foreaft.driver/1"'):
        asked = {"text": text, "based_on": revision}
        assert refused(client.put(f"/api/library/{CAR}", json=asked), 400)["file"] == CAR
    assert item(client, CAR)["revision"] == revision


def test_a_second_tab_overwrites_nothing(client: TestClient) -> None:
    revision = item(client, CAR)["revision"]
    first = {"changes": {"mass_kg": 1300}, "based_on": revision}
    second = {"changes": {"mass_kg": 1310}, "based_on": revision}
    client.patch(f"/api/library/{CAR}", json=first)
    assert refused(client.patch(f"/api/library/{CAR}", json=second), 409)["code"] == (
        "saved_elsewhere"
    )
    past = client.get(f"/api/library/{CAR}/past").json()
    assert [one["refused"] for one in past] == [True, False]
    kept = client.get(f"/api/library/{CAR}/past/{past[0]['revision']}").json()["text"]
    assert "mass_kg = 1310" in kept
    assert client.get(f"/api/library/{CAR}").json()["value"]["mass_kg"] == 1300


def test_a_save_and_a_removal_are_undone(client: TestClient) -> None:
    first = item(client, CAR)["revision"]
    second = client.patch(
        f"/api/library/{CAR}", json={"changes": {"mass_kg": 1300}, "based_on": first}
    ).json()["item"]["revision"]
    back = client.post(
        f"/api/library/{CAR}/restore", json={"revision": first, "based_on": second}
    ).json()["item"]
    assert back["revision"] == first
    client.delete(f"/api/library/{CAR}?based_on={first}")
    refused(client.get(f"/api/library/{CAR}"), 404)
    asked = {"revision": first, "based_on": None}
    assert client.post(f"/api/library/{CAR}/restore", json=asked).status_code == 200
    assert item(client, CAR)["revision"] == first


def test_a_sheet_is_a_table_both_ways(client: TestClient) -> None:
    held = client.get("/api/library/sheets/eight-corners").json()
    table = held["value"]
    assert table["columns"][:3] == ["name", "approach_kmh", "min_kmh"]
    assert table["rows"][0]["approach_kmh"] == "255"
    table["rows"][0]["approach_kmh"] = 250
    asked = {"value": table, "based_on": held["item"]["revision"]}
    assert client.put("/api/library/sheets/eight-corners", json=asked).status_code == 200
    again = client.get("/api/library/sheets/eight-corners").json()["value"]
    assert again["rows"][0]["approach_kmh"] == "250"
    assert again["rows"][1:] == held["value"]["rows"][1:]
    again["rows"][2]["depth_frac"] = "deep"
    asked = {"value": again, "based_on": item(client, "sheets/eight-corners")["revision"]}
    told = refused(client.put("/api/library/sheets/eight-corners", json=asked), 400)
    assert (told["key"], told["line"]) == ("depth_frac", 4)


def test_a_sheet_that_is_being_typed_leaves_one_version(client: TestClient) -> None:
    held = client.get("/api/library/sheets/eight-corners").json()
    revision, table = held["item"]["revision"], held["value"]
    for speed in range(240, 250):
        table["rows"][0]["approach_kmh"] = speed
        asked = {"value": table, "based_on": revision, "draft": True}
        answer = client.put("/api/library/sheets/eight-corners", json=asked)
        revision = answer.json()["item"]["revision"]
    past = client.get("/api/library/sheets/eight-corners/past").json()
    assert [one["revision"] for one in past] == [held["item"]["revision"]]


def test_what_a_file_leaves_open_is_told_beside_what_it_says(
    parts: Parts, client: TestClient
) -> None:
    driver = {"schema": "foreaft.driver/1", "id": "tilo", "name": "Tilo", "level": "pro"}
    client.put("/api/library/drivers/tilo", json={"value": driver, "based_on": None})
    held = client.get("/api/library/drivers/tilo").json()
    assert held["value"] == driver
    assert held["used"].items() >= driver.items()
    # docs/theory/human.md is where the usual numbers of the levels come from; here only the road.
    from foreaft.model.driver import PRESETS

    assert held["used"]["hit_sd_frac"] == PRESETS["pro"]["hit_sd_frac"]
    day = {"schema": "foreaft.conditions/1", "id": "alp", "name": "Alp"}
    client.put("/api/library/conditions/alp", json={"value": day, "based_on": None})
    # ISO 2533: 1.225 kg/m3 at sea level; at 2000 m 275.15 K, 794.95 hPa and 1.0065 kg/m3.
    assert client.get("/api/library/conditions/alp").json()["used"]["air_density_kgpm3"] == 1.225
    asked = {
        "changes": {"temperature_C": 2.0, "pressure_hPa": 794.95},
        "based_on": item(client, "conditions/alp")["revision"],
    }
    client.patch("/api/library/conditions/alp", json=asked)
    used = client.get("/api/library/conditions/alp").json()["used"]
    assert used["air_density_kgpm3"] == pytest.approx(1.0065, abs=5e-5)
    assert client.get("/api/library/sheets/eight-corners").json()["used"] is None
    parts.library.place("drivers", "tilo").write_text("level = 7\n")
    assert client.get("/api/library/drivers/tilo").json()["used"] is None


def test_a_circuit_is_drawn_and_copied_with_its_zones(client: TestClient) -> None:
    value = client.get("/api/library/circuits/brackwater").json()["value"]
    assert value["closed"] is True
    assert len(value["x_m"]) == len(value["y_m"]) <= 601
    # the demo's own file says 4.2 km of chords; the outline is thinned, the length is not
    assert value["length_m"] == pytest.approx(_chords(client), rel=1e-4)
    asked = {"id": "brackwater-short"}
    client.post("/api/library/circuits/brackwater/copy", json=asked)
    kept = client.get("/api/library/zones/brackwater-short").json()
    assert kept["text"] == client.get("/api/library/zones/brackwater").json()["text"]


def _chords(client: TestClient) -> float:
    rows = client.get("/api/library/circuits/brackwater").json()["text"].splitlines()[1:]
    points = [tuple(float(cell) for cell in row.split(",")[:2]) for row in rows]
    following = [*points[1:], points[0]]
    return sum(
        ((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5
        for a, b in zip(points, following, strict=True)
    )


def test_a_car_is_copied_under_its_new_name(client: TestClient) -> None:
    asked = {"id": "spare", "name": "<script>alert(1)</script>"}
    copied = client.post(f"/api/library/{CAR}/copy", json=asked).json()["item"]
    assert copied["name"] == "<script>alert(1)</script>"
    assert client.get("/api/library/cars/spare").json()["value"]["id"] == "spare"
    refused(client.post(f"/api/library/{CAR}/copy", json={"id": "spare"}), 409)
    refused(client.post(f"/api/library/{CAR}/copy", json={"id": "../spare"}), 404)


def test_a_file_is_fetched_as_it_lies_there(parts: Parts, client: TestClient) -> None:
    answer = client.get(f"/api/library/{CAR}/file")
    assert answer.content == parts.library.place("cars", "halden-gt").read_bytes()
    assert answer.headers["content-disposition"] == 'attachment; filename="halden-gt.toml"'


def test_a_damaged_file_is_set_aside_and_the_rest_works(parts: Parts, client: TestClient) -> None:
    first = item(client, CAR)["revision"]
    changed = {"changes": {"mass_kg": 1300}, "based_on": first}
    client.patch(f"/api/library/{CAR}", json=changed)
    parts.library.place("cars", "halden-gt").write_bytes(b"\x00\xff" * 50)
    listing = client.get("/api/library").json()
    [told] = listing["damaged"]
    assert (told["kind"], told["id"]) == ("cars", "halden-gt")
    assert (parts.library.root / told["kept_as"]).read_bytes() == b"\x00\xff" * 50
    assert not any(one["id"] == "halden-gt" for one in listing["items"])
    assert client.get("/api/library/circuits/brackwater").status_code == 200
    asked = {"revision": first, "based_on": None}
    assert client.post(f"/api/library/{CAR}/restore", json=asked).status_code == 200
    assert client.get("/api/library").json()["damaged"] == []


def test_a_file_with_a_wrong_value_is_shown_to_be_mended(parts: Parts, client: TestClient) -> None:
    file = parts.library.place("cars", "halden-gt")
    file.write_text(
        file.read_text().replace("wheelbase_m = { value = 2.62", "wheelbase_m = { value = 26.2")
    )
    [told] = [one for one in client.get("/api/library").json()["items"] if one["kind"] == "cars"]
    assert told["name"] == "Halden GT"
    assert told["problem"]["key"] == "wheelbase_m.value"
    assert told["problem"]["file"] == CAR
    held = client.get(f"/api/library/{CAR}").json()
    assert held["value"]["wheelbase_m"]["value"] == 26.2


@pytest.mark.parametrize(
    "path",
    [
        "/api/library/cars/..%2F..%2Fetc",
        "/api/library/logs/..%2F.lock",
        "/api/library/cars/%2e%2e",
        "/api/library/works/x",
        "/api/library/.past/cars",
        "/api/work/..%2F..",
        "/api/work/%2e%2e/files/.begun",
        "/assets/..%2f..%2fapp.py",
        "/fonts/..%2fapp.ttf",
    ],
)
def test_no_address_leads_out(client: TestClient, path: str) -> None:
    answer = client.get(path, headers={"Accept": "application/json"})
    assert answer.status_code == 404, answer.text


# ---------------------------------------------------------------- logs


def test_a_log_is_sent(parts: Parts, client: TestClient) -> None:
    sent = client.put("/api/logs/<img src=x>.csv", content=b"a,b\n1,2\n", headers=RAW)
    assert sent.json()["item"]["id"] == "-img src=x-.csv"
    again = client.put("/api/logs/<img src=x>.csv", content=b"a,b\n1,2\n", headers=RAW)
    assert again.json() == sent.json()
    other = client.put("/api/logs/<img src=x>.csv", content=b"a,b\n1,3\n", headers=RAW)
    assert other.json()["item"]["id"] == "-img src=x--2.csv"
    held = client.get("/api/library/logs/-img src=x-.csv").json()
    assert (held["text"], held["value"]) == (None, None)
    refused(client.put("/api/library/logs/a.csv", json={"text": "x"}), 400)


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("start.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(range(256)) * 8, "log_kind_unknown"),
        (
            "paddock.csv",
            b"\xff\xd8\xff\xe0\0\x10JFIF\0" + b"\x91\xa7\xee" * 400,
            "log_kind_unknown",
        ),
        ("laps.csv", b"PK\x03\x04\x14\0\0\0" + b"\x77\x12" * 200, "log_kind_unknown"),
        ("run.mf4", b"MDF     4.10    cut off", "log_damaged"),
        ("other.mf4", b"no such thing\n", "log_no_table"),
        ("none.csv", b"", "file_empty"),
        ("blank.csv", b" \n\n", "file_empty"),
    ],
)
def test_what_is_no_log_is_not_taken_in(
    parts: Parts, client: TestClient, name: str, data: bytes, code: str
) -> None:
    told = refused(client.put(f"/api/logs/{name}", content=data, headers=RAW), 400)
    assert (told["code"], told["file"]) == (code, name)
    assert told["hint"]
    assert parts.library.ids("logs") == []
    assert list((parts.library.root / ".part").iterdir()) == []


def test_laps_of_a_trial_are_taken_in_whatever_else_is_in_them(client: TestClient) -> None:
    """The trial says what is wrong with them, in the words of a trial."""
    data = b"lap,setting,note,driver\n1,53,warm tyres,Mara\n"
    assert client.put("/api/logs/laps.csv", content=data, headers=RAW).status_code == 200


def test_a_log_without_a_word_that_is_known_shows_its_columns(client: TestClient) -> None:
    """No job can read it before they are named, and they are named by what they hold."""
    rows = "".join(f"{i / 10},{30 + i % 7},\n" for i in range(60))
    sent = client.put("/api/logs/a.csv", content=f"q,w,zz\n{rows}".encode(), headers=RAW)
    assert sent.json()["item"]["id"] == "a.csv"
    assert refused(client.post("/api/read", json={"log": "logs/a.csv"}), 400)
    q, w, zz = client.get("/api/logs/a.csv/columns").json()
    assert [one["original_name"] for one in (q, w, zz)] == ["q", "w", "zz"]
    three = ("least", "middle", "greatest")
    assert [w["preview"][one] for one in three] == [30, 33, 36]
    assert [zz["preview"][one] for one in three] == [None] * 3
    assert q["preview"]["line"] == sorted(q["preview"]["line"])
    maps = ["q=time_s:s", "w=speed_mps:m/s"]
    answer = client.post("/api/read", json={"log": "logs/a.csv", "maps": maps}).json()
    assert answer["result"]["sessions"][0]["run"]["duration_s"] == pytest.approx(5.9)


def test_any_column_can_be_named_any_channel(client: TestClient) -> None:
    """Each channel in each of its units, of a column whose name and values say nothing."""
    rows = "".join(f"{i / 10},{100 + i % 7},{i / 10}\n" for i in range(100))
    data = f"time [s],speed [km/h],zz\n{rows}".encode()
    client.put("/api/logs/a.csv", content=data, headers=RAW)
    known = client.get("/api/channels").json()
    assert set(known) == set(CHANNELS)
    known["time_s"] = ["s"]  # in another unit these times are none
    instead = {"speed_mps": ["speed [km/h]=ignored"], "time_s": ["time [s]=ignored"]}
    for channel, units in known.items():
        for unit in units:
            maps = [f"zz={channel}:{unit}", *instead.get(channel, [])]
            answer = client.post("/api/read", json={"log": "logs/a.csv", "maps": maps}).json()
            found = answer["result"]["sessions"][0]["channels"]
            assert [one["name"] for one in found if one["original_name"] == "zz"] == [channel]


# ---------------------------------------------------------------- same request, same answer

Typed = Callable[[Path, Path], list[str]]


@pytest.fixture(scope="session")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of straight stops and one of laps, of the demo."""
    from foreaft.files.classes import demo_folder

    folder = tmp_path_factory.mktemp("log")
    car = str(demo_folder() / "car.toml")
    typed = ["record", "--car", car, "--stops", "3", "--setting", "56", "52", "--out", str(folder)]
    assert main([*typed, "--effort", "0.6", "0.9", "--json"]) == 0
    [made] = [one for one in folder.iterdir() if one.suffix == ".csv"]
    return made.rename(folder / "stops.csv")


@pytest.fixture(scope="session")
def driven(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of two laps of the demo, as a plain logger keeps them."""
    from foreaft.files.classes import demo_folder

    folder, demo = tmp_path_factory.mktemp("driven"), demo_folder()
    typed = ["record", "--car", str(demo / "car.toml"), "--circuit", str(demo / "brackwater.csv")]
    typed += ["--driver", str(demo / "driver.toml"), "--laps", "2", "--setting", "54"]
    assert main([*typed, "--logger", "club", "--out", str(folder), "--json"]) == 0
    [made] = folder.glob("*.csv")
    return made


def _laps_of_a_trial() -> str:
    """Three runs at one setting and three at another, with times that drift and scatter."""
    rows = ["lap,stint,setting,z3_time_s"]
    for lap in range(1, 25):
        stint = (lap - 1) // 4 + 1
        setting = 54 if stint % 2 else 52
        time_s = 6.0 + (0.08 if setting == 52 else 0.0) - 0.004 * lap + 0.01 * (lap * 7 % 5 - 2)
        rows.append(f"{lap},{stint},{setting},{time_s:.3f}")
    return "\n".join(rows) + "\n"


SHEET = {"sheet": "sheets/eight-corners", "driver": "drivers/mara-venn"}
SHEET_TYPED = ["--sheet", "sheets/eight-corners.csv", "--driver", "drivers/mara-venn.toml"]
CAR_TYPED = ["--car", "cars/halden-gt.toml"]
QUICK = {"today": 54, "higher": "front", "first": "front"}
QUICK_TYPED = ["--today", "54", "--higher", "front", "--first", "front"]

SAME: dict[str, tuple[str, dict[str, Any], list[str]]] = {
    "plan": (
        "plan",
        {"car": CAR, **SHEET, "samples": 4},
        ["plan", *CAR_TYPED, *SHEET_TYPED, "--samples", "4"],
    ),
    "plan, dry and wet": (
        "plan",
        {"car": CAR, **SHEET, "samples": 0, "conditions": ["conditions/dry", "conditions/wet"]},
        [
            "plan",
            *CAR_TYPED,
            *SHEET_TYPED,
            *("--samples", "0", "--conditions", "conditions/dry.toml"),
            *("--conditions", "conditions/wet.toml"),
        ],
    ),
    "plan of a class": (
        "plan",
        {
            "car": "gt-mid",
            "sheet": "sheets/eight-corners",
            "quick": QUICK,
            "samples": 0,
            "driver": "pro",
        },
        [
            *("plan", "--car", "gt-mid", "--sheet", "sheets/eight-corners.csv"),
            *QUICK_TYPED,
            *("--samples", "0", "--driver", "pro"),
        ],
    ),
    "stop": (
        "stop",
        {"car": CAR, "from_kmh": 180, "conditions": "conditions/wet"},
        ["stop", *CAR_TYPED, "--from-kmh", "180", "--conditions", "conditions/wet.toml"],
    ),
    "ideal": (
        "ideal",
        {"car": CAR, "decel_g": [0.4, 1.0], "lateral_g": [0.0, 0.5], "road_rule": True},
        ["ideal", *CAR_TYPED, "--decel-g", "0.4", "1.0", "--lateral-g", "0", "0.5", "--road-rule"],
    ),
    "zones": (
        "zones",
        {"car": CAR, **ROAD},
        [
            "zones",
            *CAR_TYPED,
            "--circuit",
            "circuits/brackwater/brackwater.csv",
            "--driver",
            "drivers/mara-venn.toml",
        ],
    ),
    "advise": (
        "advise",
        {
            "car": CAR,
            **SHEET,
            "zone": "Mill",
            "symptom": "came_round",
            "setting": 54,
            "samples": 20,
            "remember": False,
        },
        [
            "advise",
            *CAR_TYPED,
            *SHEET_TYPED,
            "--zone",
            "Mill",
            "--symptom",
            "came-round",
            "--setting",
            "54",
            "--samples",
            "20",
            "--forget",
        ],
    ),
    "history": (
        "history",
        {"car": CAR, **SHEET},
        ["advise", *CAR_TYPED, *SHEET_TYPED, "--history"],
    ),
    "read": ("read", {"log": "logs/stops.csv"}, ["read", "logs/stops.csv"]),
    "check": ("check", {"file": CAR}, ["check", "cars/halden-gt.toml"]),
    "trial": (
        "trial",
        {
            "design": {
                "settings": [54, 52],
                "higher": "front",
                "endpoints": [{"name": "z03_time_s", "difference": 0.03, "scatter_sd": 0.06}],
            }
        },
        [
            "trial",
            "design",
            "--settings",
            "54",
            "52",
            "--higher",
            "front",
            "--endpoint",
            "z03_time_s",
            "0.03",
            "0.06",
        ],
    ),
    "trial, judged": (
        "trial",
        {
            "judge": {
                "laps": "logs/trial.csv",
                "against": 54,
                "pools": {"deep_time_s": ["z3_time_s"]},
            }
        },
        [
            "trial",
            "judge",
            "logs/trial.csv",
            "--against",
            "54",
            "--pool",
            "deep_time_s",
            "z3_time_s",
        ],
    ),
    "trial, stops": (
        "trial",
        {
            "stops": {
                "stops": [
                    {"setting": 54, "first": "front"},
                    {"setting": 52, "first": "rear"},
                    {"setting": 53, "first": "front"},
                ],
                "car": CAR,
            }
        },
        [
            *("trial", "stops", "--stop", "54", "front", "--stop", "52", "rear"),
            *("--stop", "53", "front", *CAR_TYPED),
        ],
    ),
    "debrief": (
        "debrief",
        {"logs": ["logs/laps.csv"], "circuit": "circuits/brackwater", "car": CAR},
        [
            *("debrief", "logs/laps.csv", *CAR_TYPED),
            *("--circuit", "circuits/brackwater/brackwater.csv"),
        ],
    ),
    "limit": (
        "limit",
        {"car": CAR, **SHEET, "zone": "Mill", "points": 40, "samples": 0},
        [
            *("limit", *CAR_TYPED, *SHEET_TYPED),
            *("--zone", "Mill", "--points", "40", "--samples", "0"),
        ],
    ),
    "learn": (
        "learn",
        {"car": CAR, "logs": ["logs/stops.csv"]},
        ["learn", "logs/stops.csv", *CAR_TYPED],
    ),
    "show": (
        "show",
        {"car": CAR, **SHEET, "zone": "Mill", "settings": [54]},
        ["show", *CAR_TYPED, *SHEET_TYPED, "--zone", "Mill", "--setting", "54"],
    ),
}


@pytest.mark.parametrize("name", SAME)
def test_same_request_same_answer(
    name: str,
    parts: Parts,
    client: TestClient,
    log: Path,
    request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    job, asked, typed = SAME[name]
    root = parts.library.root
    if job == "limit":
        pytest.importorskip("casadi", reason="needs the extra optimum")
    if job == "debrief":
        shutil.copy(request.getfixturevalue("driven"), root / "logs" / "laps.csv")
    shutil.copy(log, root / "logs" / "stops.csv")
    (root / "logs" / "trial.csv").write_text(_laps_of_a_trial())
    answered = client.post(f"/api/{job}", json=asked)
    assert answered.status_code == 200, answered.text
    monkeypatch.chdir(root)
    capsys.readouterr()
    code = main([*typed, "--json"])
    said = Said(code, *capsys.readouterr())
    assert code == 0, said.err
    assert str(root) not in answered.text
    assert os.environ["FOREAFT_DATA"] not in answered.text
    # The command line was given paths in the library; the app says the same by reference.
    assert json.loads(answered.text) == json.loads(by_reference(said.out))
    assert answered.text == by_reference(said.out), "to the letter"


def by_reference(text: str) -> str:
    for path, reference in {
        "circuits/brackwater/brackwater.csv": "circuits/brackwater",
        "cars/halden-gt.toml": CAR,
        "drivers/mara-venn.toml": "drivers/mara-venn",
        "conditions/dry.toml": "conditions/dry",
        "conditions/wet.toml": "conditions/wet",
        "sheets/eight-corners.csv": "sheets/eight-corners",
    }.items():
        text = text.replace(f'"{path}"', f'"{reference}"')
    return text


def test_pages_that_move_say_what_the_job_says(parts: Parts, client: TestClient) -> None:
    """`zone` and `live` have no command: they are answered while somebody moves a number.

    Their second face is the Python API; that what they say is the plan's, its own tests show.
    """
    from foreaft.jobs.live import Desk, live
    from foreaft.jobs.requests import LiveRequest, ZoneViewRequest
    from foreaft.jobs.zone_view import zone_view
    from foreaft.web.references import translated
    from foreaft.web.telling import answer_text

    zone = {"car": CAR, **SHEET, "zone": "Mill", "settings": [54], "grip_scale": 0.9}
    moved = {"car": CAR, **SHEET, "changes": 2, "boldness": 1.5}
    views = zone_view(translated(ZoneViewRequest.model_validate(zone), parts.library))
    lives = live(translated(LiveRequest.model_validate(moved), parts.library), Desk())
    for job, asked, told in (("zone", zone, views), ("live", moved, lives)):
        answered = client.post(f"/api/{job}", json=asked)
        assert answered.status_code == 200, answered.text
        assert answered.text == answer_text(told, parts.library)
    # The sliders are told twice to the server that keeps what they leave alone: the same again.
    assert client.post("/api/live", json=moved).text == answered.text


def test_a_recorded_log_is_the_same_from_both(
    parts: Parts,
    client: TestClient,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked = {"car": CAR, "stops": 1, "settings": [54], "effort": [0.7]}
    told = client.post("/api/record", json=asked).json()
    monkeypatch.chdir(parts.library.root)
    typed = ["record", *CAR_TYPED, "--stops", "1", "--setting", "54", "--effort", "0.7"]
    capsys.readouterr()
    assert main([*typed, "--out", "made", "--json"]) == 0
    said = json.loads(by_reference(capsys.readouterr().out))
    assert [Path(one).name for one in told["files"]] == [Path(one).name for one in said["files"]]
    for ours, theirs in zip(told["files"], said["files"], strict=True):
        kept = client.get(f"/api/work/{ours.removeprefix('works/').replace('/', '/files/', 1)}")
        assert kept.content == Path(theirs).read_bytes()
    work = told["files"][0].rpartition("/")[0]
    assert json.loads(json.dumps(told).replace(work, "made")) == said


def test_a_learned_car_is_the_same_from_both(
    parts: Parts, client: TestClient, log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command line writes the car beside the log; the app keeps it in the library."""
    root = parts.library.root
    shutil.copy(log, root / "logs" / "stops.csv")
    asked = {"car": CAR, "logs": ["logs/stops.csv"]}
    work = client.post("/api/work/learn", json=asked).json()["work_id"]
    parts.works.wait(work)
    made = client.post("/api/library/cars/learned/learned", json={"work": f"works/{work}"})
    assert made.status_code == 200, made.text
    monkeypatch.chdir(root)
    assert main(["learn", "logs/stops.csv", *CAR_TYPED, "--out", "made", "--json"]) == 0
    ours = tomllib.loads((root / "cars" / "learned.toml").read_text())
    theirs = tomllib.loads((root / "made" / "car.toml").read_text())
    draws = root / "cars" / str(ours.pop("draws_file"))
    assert draws.read_bytes() == (root / "made" / str(theirs.pop("draws_file"))).read_bytes()
    assert ours | {"id": theirs["id"]} == theirs
    assert ours["id"] == "learned"


def test_errors_are_the_same_too(client: TestClient, parts: Parts) -> None:
    asked = {"car": "gt-mid", "sheet": "sheets/eight-corners", "samples": 0}
    assert refused(client.post("/api/plan", json=asked), 422)["code"] == "cannot_tell"
    asked = {"car": CAR, **SHEET, "zone": "Nowhere", "symptom": "fine", "setting": 54}
    told = refused(client.post("/api/advise", json=asked), 400)
    assert told["value"] == "Nowhere"
    parts.library.place("cars", "halden-gt").write_text('schema = "foreaft.car/1"\n')
    told = refused(client.post("/api/stop", json={"car": CAR, "from_kmh": 100}), 400)
    assert told["file"] == CAR
    assert str(parts.library.root) not in json.dumps(told)


@pytest.mark.parametrize(
    "reference",
    [
        "/etc/passwd",
        "../x",
        "cars/../../x",
        "cars/none",
        "circuits/brackwater",
        "",
        "cars/",
        "logs/..",
    ],
)
def test_only_references_name_things(client: TestClient, reference: str) -> None:
    answer = client.post("/api/stop", json={"car": reference, "from_kmh": 100})
    assert answer.status_code in (400, 404)
    assert answer.json()["code"] in ("unknown_reference", "unknown_thing")


def test_a_mapping_said_while_reading_is_saved(client: TestClient, parts: Parts, log: Path) -> None:
    shutil.copy(log, parts.library.root / "logs" / "stops.csv")
    asked = {
        "log": "logs/stops.csv",
        "maps": ["Yaw rate=ignored"],
        "save_mapping": "mappings/club-logger",
    }
    answer = client.post("/api/read", json=asked)
    assert answer.status_code == 200, answer.text
    assert answer.json()["files"] == ["mappings/club-logger"]
    held = client.get("/api/library/mappings/club-logger").json()
    assert held["value"]["column"][0]["channel"] == "ignored"
    asked = {"log": "logs/stops.csv", "mapping": "mappings/club-logger"}
    answer = client.post("/api/read", json=asked)
    assert answer.json()["result"]["mapping_file"] == "mappings/club-logger"


# ---------------------------------------------------------------- overview and pages


def test_about_and_keys(client: TestClient) -> None:
    about = client.get("/api/about").json()
    assert "gt-mid" in [one["name"] for one in about["classes"]]
    assert about["levels"] == ["novice", "club", "pro"]
    assert {one["symptom"] for one in about["symptoms"]} >= {"came_round", "fine"}
    assert len(about["cautions"]) == 4
    keys = {one["key"]: one for one in client.get("/api/keys/cars").json()}
    assert (keys["mass_kg"]["unit"], keys["mass_kg"]["kind"]) == ("kg", "number")
    assert keys["adjuster.higher_means"]["choices"] == ["front", "rear"]
    assert keys["drive.clutch_in_on_braking"]["kind"] == "flag"
    refused(client.get("/api/keys/sheets"), 404)


def test_while_the_physics_is_compiled_the_pages_can_say_so(
    parts: Parts, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    from foreaft.web.serve import load_physics

    said = list[tuple[str, bool]]()

    def live(request: Any, desk: Any) -> None:
        road = request.sheet or request.circuit
        said.append((road.stem, client.get("/api/about").json()["compiling"]))
        raise InputError("gone", code="file_missing", hint="")

    monkeypatch.setattr("foreaft.jobs.live.live", live)
    for warm in (False, True):
        monkeypatch.setattr("foreaft.base.kernel.kernels_are_warm", lambda *_, warm=warm: warm)
        load_physics(parts)
        assert client.get("/api/about").json()["compiling"] is False
    assert [one for _, one in said] == [True, True, False, False]
    assert len({road for road, _ in said}) == 2


def test_pages(tmp_path: Path) -> None:
    from foreaft.files.library import Library
    from foreaft.web.app import make_app
    from foreaft.web.guard import Rules

    built = tmp_path / "built"
    app = make_app(Library(tmp_path / "library"), Rules(), built).app
    client = TestClient(app, base_url="http://127.0.0.1")
    html = {"Accept": "text/html,*/*;q=0.8"}
    answer = client.get("/plan", headers=html)
    assert answer.status_code == 503
    assert "make app" in answer.text
    (built / "assets").mkdir(parents=True)
    (built / "index.html").write_text("<!doctype html><title>Foreaft</title>")
    (built / "assets" / "main-1a2b.js").write_text("1")
    for path in ("/", "/plan?car=cars/x", "/car/halden-gt"):
        answer = client.get(path, headers=html)
        assert "Foreaft" in answer.text
        assert answer.headers["cache-control"] == "no-store"
    asset = client.get("/assets/main-1a2b.js")
    assert "immutable" in asset.headers["cache-control"]
    assert "javascript" in asset.headers["content-type"]
    assert client.get("/assets/gone.js", headers=html).status_code == 404
    assert client.get("/fonts/regular.ttf").content[:4] == b"\x00\x01\x00\x00"
    refused(client.get("/api/nothing", headers={"Accept": "*/*"}), 404)
