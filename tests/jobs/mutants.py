"""Files spoilt by number: the same number always gives the same files.

Two ways: bytes changed without sense, and numbers moved to the ends of what their own key allows,
which gives files that are strange but valid.
Invented throughout; nothing here is a reference for a result.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from foreaft.files.classes import class_names, class_text, demo_folder
from foreaft.model.car import Car
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.model.fields import Entry, Quantity, catalogue
from foreaft.model.zone import SheetRow

Random = np.random.Generator

FILES = ("car.toml", "driver.toml", "conditions.toml", "sheet.csv", "circuit.csv")
ODD = (b"\0", b"\xff", b'"', b"[", b"]", b"{", b"=", b",", b";", b"\n", b"#", b"-", b"nan")
EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
HELD = (
    "drive.gear.gear",
    "drive.engine_brake.speed_kmh",
    "adjuster.min",
    "adjuster.max",
    "adjuster.step",
    "adjuster.reference_setting",
    "adjuster.known.setting",
    "anchor.setting",
)
"""Numbers that hang together; changed at random they would only ever be refused."""


@dataclass(frozen=True)
class Mutant:
    """One set of files, and the road it is to be planned on."""

    what: str
    files: dict[str, bytes]
    road: str  # sheet.csv or circuit.csv


def originals(random: Random) -> dict[str, bytes]:
    """One good file of each kind; the car is ours, published, or one of the classes."""
    demo = demo_folder()
    cars = [(demo / "car.toml").read_text("utf-8")]
    cars += [anchored(class_text(name)) for name in class_names()]
    cars += [file.read_text("utf-8") for file in sorted(EXAMPLES.glob("*/car.toml"))]
    car, wet = str(random.choice(cars)), (demo / "wet.toml").read_text("utf-8")
    if "[fuel]" not in car:
        wet = "\n".join(line for line in wet.splitlines() if "fuel_kg" not in line)
    return {
        "car.toml": car.encode(),
        "driver.toml": (demo / "driver.toml").read_bytes(),
        "conditions.toml": wet.encode(),
        "sheet.csv": (demo / "sheet.csv").read_bytes(),
        "circuit.csv": (demo / "brackwater.csv").read_bytes(),
    }


def anchored(text: str) -> str:
    """A class of car with today's setting told in its own file."""
    data = tomllib.loads(text)
    adjuster = data["adjuster"]
    adjuster["higher_means"] = "front"
    middle = round((adjuster["max"] - adjuster["min"]) / adjuster["step"] / 2)
    today = adjuster["min"] + middle * adjuster["step"]
    data["anchor"] = {"setting": today, "first_to_let_go": "front"}
    return toml_text(data)


def mutant(number: int) -> Mutant:
    """The files of one number."""
    random = np.random.default_rng(number)
    files = originals(random)
    road = "circuit.csv" if random.random() < 0.3 else "sheet.csv"
    ways = (spoil_bytes, spoil_car, spoil_car, spoil_car, spoil_people, spoil_road, spoil_road)
    way = ways[number % len(ways)]
    what = way(random, files, road)
    return Mutant(f"{number}: {way.__name__} {what}", files, road)


def spoil_bytes(random: Random, files: dict[str, bytes], road: str) -> str:
    """Cut, doubled, replaced or foreign bytes in one file."""
    name = str(random.choice([*FILES[:3], road]))
    data = bytearray(files[name])
    for _ in range(int(random.integers(1, 6))):
        at = int(random.integers(len(data)))
        end = at + int(random.integers(1, 12))
        kind = int(random.integers(4))
        if kind == 0:
            del data[at:end]
        elif kind == 1:
            data[at:at] = data[at:end]
        elif kind == 2:
            data[at:end] = ODD[int(random.integers(len(ODD)))]
        else:
            digits = [i for i, byte in enumerate(data) if 48 <= byte <= 57]
            data[digits[int(random.integers(len(digits)))]] = int(random.integers(48, 58))
        data = data or bytearray(b"\n")
    files[name] = bytes(data)
    return name


def spoil_car(random: Random, files: dict[str, bytes], road: str) -> str:
    """A few numbers of the car at, or towards, the ends of what is allowed."""
    data = tomllib.loads(files["car.toml"].decode())
    words = []
    keys = catalogue(Car)
    known = known_keys(data, keys)
    for _ in range(int(random.integers(1, 5))):
        key = str(random.choice(known))
        value = strange(random, keys[key].about, "int" in str(keys[key].kind))
        if put(data, key.split("."), value):
            words.append(f"{key}={value:.6g}")
    if random.random() < 0.3:
        data["drive"]["axle"] = str(random.choice(["front", "rear", "all"]))
        words.append(f"axle={data['drive']['axle']}")
    if random.random() < 0.3:
        words.append(spoil_adjuster(random, data))
    files["car.toml"] = toml_text(data).encode()
    return " ".join(words)


def spoil_adjuster(random: Random, data: dict[str, Any]) -> str:
    """A range as wide, as narrow, as fine or as coarse as a file may have."""
    adjuster = data["adjuster"]
    step = float(random.choice([0.1, 0.25, 0.5, 1.0, 2.0, 5.0]))
    steps = int(random.choice([1, 2, 5, 20, 60, 120]))
    low = float(random.choice([adjuster["min"], 1.0, 30.0]))
    adjuster |= {"min": low, "max": low + steps * step, "step": step}
    adjuster["higher_means"] = str(random.choice(["front", "rear"]))
    if "anchor" in data:
        data["anchor"]["setting"] = low + int(random.integers(steps + 1)) * step
        data["anchor"]["first_to_let_go"] = str(random.choice(["front", "rear", "together"]))
    for key in ("reference_setting", "known"):
        adjuster.pop(key, None)
    return f"adjuster {low:g} {steps} x {step:g} {adjuster['higher_means']}"


def spoil_people(random: Random, files: dict[str, bytes], road: str) -> str:
    """A driver and a day out of the ordinary."""
    words = []
    for name, kind in (("driver.toml", Driver), ("conditions.toml", Conditions)):
        data = tomllib.loads(files[name].decode())
        keys = catalogue(kind)
        known = known_keys(data, keys)
        if kind is Driver:  # a driver's file may override any number of his level
            known = [key for key, entry in keys.items() if isinstance(entry.about, Quantity)]
        for _ in range(int(random.integers(1, 4))):
            key = str(random.choice(known))
            value = strange(random, keys[key].about, "int" in str(keys[key].kind))
            if key.startswith("events."):
                data.setdefault("events", {}).setdefault(key.split(".")[1], {})
            if put(data, key.split("."), value):
                words.append(f"{key}={value:.6g}")
        files[name] = toml_text(data).encode()
    return " ".join(words)


def spoil_road(random: Random, files: dict[str, bytes], road: str) -> str:
    """A sheet or a circuit nobody has driven."""
    if road == "sheet.csv":
        files[road], words = strange_sheet(random)
    else:
        files[road], words = strange_circuit(random)
    return words


def known_keys(data: dict[str, Any], keys: dict[str, Entry], above: str = "") -> list[str]:
    """The numbers a file holds; others would mostly contradict them."""
    found: list[str] = []
    for key, value in data.items():
        name, one = f"{above}{key}", value[0] if isinstance(value, list) and value else value
        if name in keys and isinstance(keys[name].about, Quantity):
            found.append(name)
        elif isinstance(one, dict):
            found += known_keys(one, keys, name + ".")
    return [name for name in found if name not in HELD]


def strange(random: Random, about: Quantity, whole: bool) -> float | int:
    """A number a key allows: an end, a hair inside it, or anywhere between."""
    low, high = float(about.lower), float(about.upper)
    part = float(random.choice([0.0, 1e-6, 0.01, 0.1, 0.5, 0.9, 0.99, 1.0 - 1e-6, 1.0]))
    value = low + part * (high - low)
    return round(value) if whole else value


def put(data: dict[str, Any], path: list[str], value: float) -> bool:
    """Set a number where its table is there; in a list of tables, in all of them."""
    for at, key in enumerate(path[:-1]):
        if isinstance(data.get(key), list):
            put_each = [put(one, path[at + 1 :], value) for one in data[key]]
            return all(put_each)
        if key not in data:
            return False
        data = data[key]
    data[path[-1]] = value
    return True


def strange_sheet(random: Random) -> tuple[bytes, str]:
    """Valid rows: one or sixty, crawling or flying, straight or on the spot."""
    keys = catalogue(SheetRow)
    count = int(random.choice([1, 2, 5, 60]))
    columns = ["name", "approach_kmh", "min_kmh", "radius_m", "depth_frac", "direction"]
    columns += ["hand_time_s", "brake_at_turn_in_frac", "gear", "surface", "run_off"]
    lines = [",".join(columns)]
    for row in range(count):
        ends = (16.0, 40.0, 120.0, 250.0, 450.0)
        fast = float(random.choice(ends))
        slow = float(random.choice([fast - 1e-6, 0.999 * fast, 0.9 * fast, 0.5 * fast, 5.0]))
        radius = float(random.choice([3.0, 5.0, 20.0, 60.0, 200.0, 5000.0]))
        if random.random() < 0.7:  # a radius most cars can take at that speed
            radius = min(max(radius, slow**2 / 3.6**2 / 10.0), 5000.0)
        depth = float(random.choice([0.0, 1e-9, 0.5, 1.0 - 1e-9, 1.0]))
        turn = str(random.choice(["left", "right", "none"]))
        left = float(random.choice([0.0, 0.5, 1.0]))
        rest = [strange(random, keys["hand_time_s"].about, False), left]
        rest += [int(random.choice([1, 3, 12])), str(random.choice(["normal", "bump", "crest"]))]
        rest += [str(random.choice(["open", "gravel", "wall"]))]
        cells = [f"Corner {row}", repr(fast), repr(slow), "" if turn == "none" else repr(radius)]
        lines.append(",".join([*cells, repr(depth), turn, *(str(one) for one in rest)]))
    return "\n".join(lines).encode(), f"{count} rows"


def strange_circuit(random: Random) -> tuple[bytes, str]:
    """A closed curve r = R (1 + a cos n t), stretched, hilly, narrow or wide, either way round."""
    size = float(random.choice([10.0, 40.0, 150.0, 600.0, 3000.0]))
    wave, count = float(random.choice([0.0, 0.2, 0.6])), int(random.integers(2, 8))
    stretch = float(random.choice([1.0, 0.3, 0.05]))
    points = int(random.choice([12, 60, 400, 2000]))
    width = float(random.choice([0.5, 4.0, 30.0]))
    hill = float(random.choice([0.0, 0.0, 0.01, 0.1]))
    eight = random.random() < 0.2
    way = 1.0 if random.random() < 0.5 else -1.0
    lines = ["x_m,y_m,z_m,w_tr_right_m,w_tr_left_m"]
    for i in range(points):
        t = way * 2.0 * math.pi * i / points
        radius = size * (1.0 + wave * math.cos(count * t))
        x, y = radius * math.cos(t), stretch * radius * math.sin(t)
        if eight:
            x, y = size * math.sin(t), size * math.sin(t) * math.cos(t)
        z = hill * size * math.sin(t)
        lines.append(f"{x:.4f},{y:.4f},{z:.4f},{width},{width}")
    said = f"R={size} a={wave} n={count} stretch={stretch} points={points} width={width}"
    return "\n".join(lines).encode(), f"{said} hill={hill} eight={eight}"


def toml_text(data: dict[str, Any]) -> str:
    """A small TOML writer for what tomllib has read."""
    return "\n".join(_lines(data, "")) + "\n"


def _lines(table: dict[str, Any], path: str) -> list[str]:
    lines, later = [], []
    for key, value in table.items():
        name = f"{path}{key}"
        if isinstance(value, dict) and not set(value) & {"low", "value"}:
            later += [f"[{name}]", *_lines(value, name + ".")]
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for one in value:
                later += [f"[[{name}]]", *_lines(one, name + ".")]
        else:
            lines.append(f"{key} = {_value(value)}")
    return lines + later


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return repr(value)
