"""What bad input gets: exit 2, words on one stream, an object on the other, nothing written."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from cli.conftest import CAR, CIRCUIT, DEMO, DRIVER, PLAN, SHEET, Said, program

Run = Callable[..., Said]

ERROR_KEYS = ["schema", "code", "message", "file", "line", "key", "value"]
ERROR_KEYS += ["allowed", "unit", "hint"]
TEXT = Path(CAR).read_text("utf-8")


def refused(run: Run, *typed: object) -> dict[str, object]:
    """The error object of a refusal; the same is said in words."""
    said = run(*typed, "--json")
    assert said.code == 2, said.err
    error = said.json
    assert list(error) == ERROR_KEYS
    assert error["schema"] == "foreaft.error/1"
    assert str(error["message"]).splitlines()[0] in said.err
    assert error["hint"]
    words = run(*typed)
    assert (words.code, words.out) == (2, "")
    return error  # type: ignore[no-any-return]


# ------------------------------------------------------------- options

OPTIONS = [
    ("--samples", "-1"),
    ("--samples", "1000000000"),
    ("--samples", "1.5"),
    ("--samples", "many"),
    ("--samples", "9" * 5000),
    ("--seed", "-1"),
    ("--seed", str(2**31)),
    ("--changes", "-1"),
    ("--changes", "61"),
    ("--change-cost", "-0.1"),
    ("--change-cost", "nan"),
    ("--change-cost", "inf"),
    ("--depth", "deep"),
    ("--units", "furlongs"),
    ("--driver", "ace"),
    ("--line", "fast"),
    ("--colour", "red"),
    ("--samp", "3"),
]


@pytest.mark.parametrize(("option", "value"), OPTIONS, ids=lambda text: text[:12])
def test_an_option_is_refused(option: str, value: str, run: Run) -> None:
    error = refused(run, *PLAN[:-2], option, value)
    if option not in ("--colour", "--samp", "--driver"):
        assert str(error["key"]).lstrip("-") == option.lstrip("-")
        assert error["allowed"]


ANCHORS = [
    (["--today", "54"], "higher"),
    (["--today", "54", "--higher", "front"], "first"),
    (["--today", "nan", "--higher", "front", "--first", "front"], "today"),
    (["--today", "inf", "--higher", "front", "--first", "front"], "today"),
    (["--today", "1e300", "--higher", "front", "--first", "front"], ""),
    (["--today", "54", "--higher", "front", "--first", "front", "--step", "0"], ""),
    (["--today", "54", "--higher", "front", "--first", "front", "--step", "-1"], ""),
    (["--today", "54", "--higher", "front", "--first", "front", "--step", "1e-300"], ""),
    (["--today", "54", "--higher", "front", "--first", "front", "--lowest", "60"], ""),
    (["--today", "54", "--higher", "front", "--first", "front", "--highest", "53"], ""),
    (["--today", "54", "--higher", "front", "--first", "front", "--highest", "1e9"], ""),
]


@pytest.mark.parametrize(("anchor", "key"), ANCHORS, ids=lambda a: "_".join(a)[:40])
def test_an_anchor_is_refused(anchor: list[str], key: str, run: Run) -> None:
    error = refused(run, "plan", "--car", "gt-mid", "--sheet", SHEET, "--samples", "0", *anchor)
    if key:
        assert error["key"] == key


OTHERS = [
    ["plan", "--car", CAR],
    ["plan", "--car", CAR, "--sheet", SHEET, "--circuit", CIRCUIT],
    ["plan", "--car", "no-such-class", "--sheet", SHEET],
    ["stop", "--car", CAR, "--from-kmh", "60", "--to-kmh", "200"],
    ["stop", "--car", CAR, "--from-kmh", "0"],
    ["stop", "--car", CAR, "--from-kmh", "451"],
    ["stop", "--car", CAR, "--from-kmh", "200", "--to-kmh", "-1"],
    ["stop", "--car", CAR, "--from-kmh", "200", "--share", "1"],
    ["stop", "--car", CAR, "--from-kmh", "nan"],
    ["stop", "--car", "gt-mid", "--from-kmh", "200"],
    ["ideal", "--car", CAR, "--decel-g", "nan"],
    ["ideal", "--car", CAR, "--decel-g", "-1"],
    ["ideal", "--car", CAR, "--decel-g", "1e300"],
    ["ideal", "--car", CAR, "--speed-kmh", "-1"],
    ["ideal", "--car", CAR, "--speed-kmh", "1e300"],
    ["ideal", "--car", CAR, "--lateral-g", "1e300"],
    ["ideal", "--car", CAR, "--yaw-accel", "1e300"],
    ["zones", "--car", CAR, "--circuit", SHEET],
    ["new", "spaceship", "x"],
    ["frobnicate"],
    [],
]


@pytest.mark.parametrize("typed", OTHERS, ids=lambda typed: "_".join(Path(w).name for w in typed))
def test_a_request_is_refused(typed: list[str], run: Run) -> None:
    refused(run, *typed)


# ------------------------------------------------------------- the file itself


def spoilt_files(folder: Path) -> Iterator[tuple[str, Path]]:
    """Files that are no files of ours, by the code of the error they get."""
    yield "file_missing", folder / "absent.toml"
    (folder / "folder.toml").mkdir()
    yield "file_is_directory", folder / "folder.toml"
    (folder / "empty.toml").touch()
    yield "file_empty", folder / "empty.toml"
    (folder / "garbage.toml").write_bytes(bytes(range(256)) * 40)
    yield "file_not_text", folder / "garbage.toml"
    with (folder / "big.toml").open("wb") as stream:
        stream.truncate(2 * 1024**3)  # sparse: takes no room on the disk
    yield "file_too_large", folder / "big.toml"
    os.mkfifo(folder / "pipe.toml")
    yield "file_not_regular", folder / "pipe.toml"


@pytest.mark.parametrize("role", ["--car", "--sheet", "--circuit", "--driver", "--conditions"])
def test_every_role_refuses_what_is_no_file(role: str, run: Run, tmp_path: Path) -> None:
    for code, file in spoilt_files(tmp_path):
        words = {"--car": CAR, "--sheet": SHEET} | {role: str(file)}
        if role == "--circuit":
            del words["--sheet"]
        typed = [word for pair in words.items() for word in pair]
        error = refused(run, "plan", *typed, "--samples", "0")
        if role != "--circuit":  # its reader has words of its own
            assert error["code"] == code, error
        assert error["file"] == str(file)
        assert error["allowed"]


def test_check_looks_at_every_file(run: Run, tmp_path: Path) -> None:
    files = [file for _, file in spoilt_files(tmp_path)]
    said = run("check", CAR, *files, SHEET)
    assert said.code == 2
    assert f"{CAR}: good" in said.out
    assert f"{SHEET}: good" in said.out
    for file in files:
        assert str(file) in said.err


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root to become somebody else")
def test_a_file_of_somebody_else_is_refused() -> None:
    with tempfile.TemporaryDirectory() as name:  # pytest's own folders may not be entered
        Path(name).chmod(0o755)
        file = Path(name) / "car.toml"
        file.write_text(TEXT, "utf-8")
        file.chmod(0o600)
        done = check_as_nobody(file)
    assert done.returncode == 2, done.stderr
    assert '"code": "file_no_permission"' in done.stdout


def check_as_nobody(file: Path) -> subprocess.CompletedProcess[str]:
    code = (
        "import os, sys\n"
        "from foreaft.cli import commands, main\n"
        "import foreaft.jobs.check\n"
        "os.setuid(65534)\n"
        f"sys.exit(main(['check', {str(file)!r}, '--json']))"
    )
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)


def test_a_name_that_is_no_text_is_refused(tmp_path: Path) -> None:
    """A file name may be any bytes; an answer that names it may not."""
    name = os.fsencode(str(tmp_path)) + b"/\xff.toml"
    Path(os.fsdecode(name)).write_text(TEXT, "utf-8")
    for job in (["check"], ["stop", "--from-kmh", "100", "--car"]):
        done = subprocess.run([*program(*job), name, "--json"], capture_output=True, check=False)
        assert done.returncode == 2, done.stderr.decode()
        assert b"\\\\udcff.toml" in done.stdout


# ------------------------------------------------------------- what a car file may get wrong

WRONG = {
    "unknown key": ("wheelbase_m", "wheel_base_m", "unknown_key"),
    "missing key": (
        'wheelbase_m = { value = 2.62, source = "invented: tape" }\n',
        "",
        "missing_key",
    ),
    "wrong unit": ("wheelbase_m", "wheelbase_mm", "unknown_key"),
    "text for a number": ("aboard_kg = 30", 'aboard_kg = "30"', "wrong_type"),
    "NaN": ("aboard_kg = 30", "aboard_kg = nan", "not_finite"),
    "infinity": ("aboard_kg = 30", "aboard_kg = inf", "not_finite"),
    "negative mass": ("value = 1360", "value = -1360", "out_of_range"),
    "CG outside": ("value = 0.440, sd = 0.003", "value = 1.440, sd = 0.003", "out_of_range"),
    "minimum above maximum": ("min = 48.0", "min = 68.0", "range_upside_down"),
    "step": ("step = 0.5", "step = 0.7", "step_does_not_divide"),
    "range upside down": ("low = 0.44, high = 0.46", "low = 0.46, high = 0.44", "bad_number"),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_car_file_is_refused_with_all_that_helps(what: str, run: Run, tmp_path: Path) -> None:
    old, new, code = WRONG[what]
    assert old in TEXT
    file = tmp_path / "car.toml"
    file.write_text(TEXT.replace(old, new, 1), "utf-8")
    out = tmp_path / "plan"
    error = refused(run, "plan", "--car", file, "--sheet", SHEET, "--out", out)
    assert error["code"] == code
    assert error["file"] == str(file)
    for key in ("line", "key", "allowed", "unit", "hint"):
        assert error[key] is not None, key
    assert what == "missing key" or error["value"] is not None
    assert not out.exists(), "nothing is written"


# ------------------------------------------------------------- sheets as spreadsheets write them

HEAD = "name,approach_kmh,min_kmh,radius_m,depth_frac,direction,hand_time_s"
GOOD = f"{HEAD}\nMill,205.5,105,62,0.8,left,0.8\nLast,180,93,50,0.8,right,0.9\n"


def plan_of(run: Run, folder: Path, data: bytes) -> object:
    file = folder / "sheet.csv"
    file.write_bytes(data)
    said = run("plan", "--car", CAR, "--sheet", file, "--samples", "0", "--json")
    assert said.code == 0, said.err
    return said.json["result"]["zones"]


def test_a_spreadsheet_may_write_it_as_it_likes(run: Run, tmp_path: Path) -> None:
    usual = plan_of(run, tmp_path, GOOD.encode())
    comma = GOOD.replace(",", ";").replace(".", ",")
    quoted = "\n".join(
        ",".join(f'"{cell}"' for cell in line.split(",")) for line in GOOD.splitlines()
    )
    for text in (
        "\ufeff" + GOOD,
        GOOD.replace("\n", "\r\n"),
        comma,
        "\ufeff" + comma.replace("\n", "\r\n"),
        GOOD.replace(",", "\t"),
        GOOD + "\n\n,,,,,,\n   \n",
        quoted,
        "\n# typed at the track\n" + GOOD.replace(",", " , "),
    ):
        assert plan_of(run, tmp_path, text.encode("utf-8")) == usual, text


SHEETS = {
    "speeds upside down": ("205.5,105", "105,205.5", "min_kmh"),
    "decimal comma among commas": ("205.5", "205,5", "row"),
    "text": ("205.5", "fast", "approach_kmh"),
    "NaN": ("205.5", "nan", "approach_kmh"),
    "unit in the cell": ("205.5", "205.5 km/h", "approach_kmh"),
    "crawling": ("205.5,105", "16,2", "min_kmh"),
    "too tight": ("62", "1", "radius_m"),
    "unknown word": ("left", "port", "direction"),
    "straight with a radius": ("left", "none", "direction"),
    "no radius": ("62", "", "radius_m"),
    "deeper than the apex": ("0.8,left", "1.8,left", "depth_frac"),
}


@pytest.mark.parametrize("what", SHEETS)
def test_a_row_is_refused_on_its_line(what: str, run: Run, tmp_path: Path) -> None:
    old, new, key = SHEETS[what]
    file = tmp_path / "sheet.csv"
    file.write_text(GOOD.replace(old, new, 1), "utf-8")
    error = refused(run, "plan", "--car", CAR, "--sheet", file)
    assert (error["file"], error["line"], error["key"]) == (str(file), 2, key)
    assert refused(run, "check", file)["key"] == key, "what the check lets pass, the plan takes"


def test_a_cornering_load_without_a_corner(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    rows = "Mill,205,20,6,0.8,left,0.8\n"
    file.write_text(HEAD.replace("radius_m", "lateral_g") + "\n" + rows, "utf-8")
    assert refused(run, "check", file)["key"] == "lateral_g"


def test_the_demo_files_pass_the_check(run: Run) -> None:
    assert run("check", *sorted(DEMO.glob("*.*")), DRIVER).code == 0
