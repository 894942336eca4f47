"""Where the answer goes: folders, full disks, readers that leave, users who have seen enough."""

from __future__ import annotations

import ctypes
import errno
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from cli.conftest import CAR, PLAN, SHEET, Said, program, start
from foreaft import cli
from foreaft.base.errors import CannotTell, NoPlan
from foreaft.files import atomic
from foreaft.files.classes import class_text

Run = Callable[..., Said]

FEW = ["plan", "--car", CAR, "--sheet", SHEET, "--samples", "0", "--out"]


# ------------------------------------------------------------- folders


def test_a_plan_is_written_into_a_new_folder(run: Run, tmp_path: Path) -> None:
    said = run(*FEW, tmp_path / "deep" / "plan", "--json")
    assert said.code == 0
    files = [Path(name) for name in said.json["files"]]
    assert files
    assert all(file.stat().st_size > 0 for file in files)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["deep"], "nothing left lying about"


def test_a_folder_that_is_there_keeps_what_is_not_ours(run: Run, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "plan.json").write_text("old")
    assert run(*FEW, tmp_path).code == 0
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert (tmp_path / "plan.json").read_text() != "old"


def test_a_file_is_no_folder(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "plan"
    file.write_text("mine")
    for out in (file, file / "deeper"):
        said = run(*FEW, out, "--json")
        assert said.code == 2
        assert said.json["hint"]
        assert file.read_text() == "mine"
    assert os.listdir(tmp_path) == ["plan"]


def refuse_to_write(monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    """Every flush to the disk fails as the system would."""

    def fail(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(atomic.os, "fsync", fail)


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (errno.ENOSPC, "file_disk_full"),
        (errno.EDQUOT, "file_disk_full"),
        (errno.EACCES, "file_no_permission"),
        (errno.EROFS, "file_no_permission"),
        (errno.EIO, "file_unwritable"),
    ],
)
def test_what_the_disk_says_is_told(
    number: int, code: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    refuse_to_write(monkeypatch, number)
    for typed in ([*FEW, tmp_path / "a" / "plan"], ["new", "sheet", tmp_path / "sheet.csv"]):
        said = run(*typed, "--json")
        assert (said.code, said.json["code"]) == (2, code)
    assert list(tmp_path.iterdir()) == [], "nothing was written"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 64 kB; skipped where none may be mounted."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no small disk may be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk(run: Run, small_disk: Path) -> None:
    said = run(*FEW, small_disk / "plan", "--json")
    assert (said.code, said.json["code"]) == (2, "file_disk_full")
    assert list(small_disk.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("more", [[], ["--json"]])
def test_an_output_that_is_full(more: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            program("classes", *more), stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert "No space left" in done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root to become somebody else")
def test_a_folder_of_somebody_else() -> None:
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        code = (
            "import os, sys\n"
            "from foreaft.cli import commands, main\n"
            "from foreaft.jobs.new import new\n"
            f"new('sheet', __import__('pathlib').Path({name + '/first.csv'!r}))\n"
            "os.setuid(65534)\n"
            f"sys.exit(main(['new', 'sheet', {name + '/sheet.csv'!r}, '--json']))"
        )
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=False
        )
        assert done.returncode == 2, done.stderr
        assert '"code": "file_no_permission"' in done.stdout
        assert os.listdir(name) == ["first.csv"]


# ------------------------------------------------------------- readers that leave


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_a_reader_that_has_gone(more: list[str]) -> None:
    process = start(*PLAN, *more)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    said = process.stderr.read()
    assert process.wait(60) == 0
    assert "Traceback" not in said
    assert "BrokenPipe" not in said


# ------------------------------------------------------------- Ctrl-C


def listen_to_ctrl_c() -> None:
    """A shell starts what runs in the background deaf to it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.slow
@pytest.mark.parametrize("wait_s", [0.3, 0.8, 2.5, 4.0])
@pytest.mark.parametrize("more", [[], ["--json"]])
def test_ctrl_c_stops_soon(wait_s: float, more: list[str], tmp_path: Path) -> None:
    subprocess.run(program(*PLAN), check=True, capture_output=True)  # compiled from now on
    typed = [word if word != "0" else "400" for word in PLAN]
    process = start(
        *typed, "--out", str(tmp_path / "a" / "plan"), *more, preexec_fn=listen_to_ctrl_c
    )
    time.sleep(wait_s)
    process.send_signal(signal.SIGINT)
    begun = time.monotonic()
    out, err = process.communicate(timeout=60)
    spent = time.monotonic() - begun
    # Caught inside code that Python executes from a string (a dataclass being made, say), the
    # interpreter ends by the signal after we have tidied up; a shell shows 130 for both.
    assert process.returncode in (130, -signal.SIGINT), err
    assert "Traceback" not in out + err
    assert list(tmp_path.iterdir()) == []
    assert bool(out) == bool(more)
    assert '"code": "cancelled"' in out or not more
    assert spent < 4.0  # two seconds is the aim, twice that the bound


# ------------------------------------------------------------- exit codes that need a real case


def test_cannot_tell(run: Run) -> None:
    """Of a class nobody knows which way its adjuster counts."""
    said = run("plan", "--car", "gt-mid", "--sheet", SHEET, "--json")
    assert said.code == CannotTell.exit_code == 4
    assert said.json["code"] == "cannot_tell"
    assert "--today" in said.json["hint"]


def test_no_plan(run: Run, tmp_path: Path) -> None:
    """Engine braking of two tons on the front axle of a very short car leaves nothing to plan."""
    text = re.sub(r"(?m)^force_N = .*", "force_N = 19800", class_text("touring-front-drive"))
    text = re.sub(r"(?m)^wheelbase_m = .*", "wheelbase_m = 1", text)
    car = tmp_path / "car.toml"
    car.write_text(text, "utf-8")
    anchor = ["--today", "0", "--higher", "front", "--first", "front"]
    said = run("plan", "--car", car, "--sheet", SHEET, "--samples", "0", *anchor, "--json")
    assert said.code == NoPlan.exit_code == 5, said.err
    assert said.json["code"] == "no_plan"
    assert said.json["hint"]


def break_a_callback() -> None:
    """Let C call Python, and let Ctrl-C fall in there."""

    def callback() -> None:
        raise KeyboardInterrupt

    ctypes.CFUNCTYPE(None)(callback)()


def broken_import(_: object) -> int:
    """A library interrupted while it is loaded raises an ImportError caused by Ctrl-C."""
    raise ImportError("initialization failed") from KeyboardInterrupt()


def broken_compiler(_: object) -> int:
    """A library whose callback Ctrl-C broke fails for want of what it should have brought."""
    break_a_callback()
    raise ValueError("no compiled object yet")


@pytest.mark.parametrize("command", [broken_import, broken_compiler])
def test_what_ctrl_c_breaks_is_ctrl_c(
    command: Callable[[object], int],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("foreaft.cli.run", command)
    assert cli.main(["classes"]) == 130
    assert "mistake" not in capsys.readouterr().err


def test_ctrl_c_in_a_callback_from_c_is_ctrl_c(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Python prints and drops what is raised there, and would go on working."""

    def interrupted(_: object) -> int:
        break_a_callback()
        time.sleep(20)
        return 0

    monkeypatch.setattr("foreaft.cli.run", interrupted)
    begun = time.monotonic()
    assert cli.main(["classes"]) == 130
    assert time.monotonic() - begun < 5
    assert "Traceback" not in capsys.readouterr().err
