"""Starting quickly, showing progress only to those who look, and naming what is missing."""

from __future__ import annotations

import importlib.metadata
import os
import pty
import subprocess
import sys
import time
from collections.abc import Callable

import pytest

from cli.conftest import Said, program
from foreaft.cli.parser import make_parser
from foreaft.cli.progress import QUIET_S, Progress
from machine import slowness

COMMANDS = ["plan", "stop", "ideal", "advise", "zones", "check", "new", "classes", "demo"]
COMMANDS += ["doctor"]

Run = Callable[..., Said]


@pytest.mark.timing
def test_help_is_quick() -> None:
    """The best of five under twice the target of 0.15 s."""
    spent = []
    for _ in range(5):
        begun = time.perf_counter()
        subprocess.run(program("--help"), check=True, stdout=subprocess.DEVNULL)
        spent.append(time.perf_counter() - begun)
    assert min(spent) < 0.30 * slowness()


def test_the_command_line_loads_no_compiler_and_no_models() -> None:
    code = (
        "import sys, foreaft.cli\n"
        "from foreaft.cli.parser import make_parser\n"
        "make_parser().format_help()\n"
        "print(sorted({'numba', 'pydantic', 'numpy', 'scipy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "[]"


def test_every_command_has_help_with_examples(capsys: pytest.CaptureFixture[str]) -> None:
    for command in COMMANDS:
        with pytest.raises(SystemExit) as caught:
            make_parser().parse_args([command, "--help"])
        assert caught.value.code == 0
        assert f"  foreaft {command}" in capsys.readouterr().out


# ------------------------------------------------------------- progress

SCRIPT = """
import sys, time
from foreaft.cli.progress import Progress
with Progress() as progress:
    for done in range(1, {steps} + 1):
        time.sleep(0.05)
        progress("cars", done, {steps})
print("over", file=sys.stderr)
"""


def on_a_terminal(code: str) -> str:
    """What a program writes to a terminal as its standard error."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen([sys.executable, "-c", code], stderr=theirs)
    os.close(theirs)
    said = b""
    try:
        while piece := os.read(ours, 4096):
            said += piece
    except OSError:  # how a terminal on Linux says that the other end was closed
        pass
    os.close(ours)
    assert process.wait() == 0
    return said.decode()


def screen(said: str) -> list[str]:
    """The lines a terminal shows at the end: a carriage return writes over what was there."""
    lines = []
    for line in said.replace("\r\n", "\n").split("\n"):
        shown = ""
        for part in line.split("\r"):
            shown = part + shown[len(part) :]
        lines.append(shown.rstrip())
    return [line for line in lines if line]


def test_progress_shows_after_a_second_and_is_wiped() -> None:
    said = on_a_terminal(SCRIPT.format(steps=30))
    first = int(said.split("cars: ")[1].split(" of ")[0])
    assert 0.05 * first > 0.8 * QUIET_S or first >= 12, "nothing in the first second"
    assert "cars: 30 of 30" in said
    assert screen(said) == ["over"]


def test_nothing_shows_for_what_is_quick() -> None:
    assert on_a_terminal(SCRIPT.format(steps=4)) == "over\r\n"


def test_nothing_shows_where_nobody_looks(capsys: pytest.CaptureFixture[str]) -> None:
    progress = Progress()
    progress._start -= 10.0
    progress("cars", 1, 2)
    assert capsys.readouterr().err == ""


# ------------------------------------------------------------- what is missing


def test_doctor_names_a_missing_part(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    real = importlib.metadata.version

    def version(name: str) -> str:
        if name == "typst":
            raise importlib.metadata.PackageNotFoundError(name)
        return real(name)

    monkeypatch.setattr("foreaft.jobs.doctor.version", version)
    said = run("doctor", "--json")
    assert said.code == 3
    found = {line["what"]: line["found"] for line in said.json["result"]["lines"]}
    assert found["typst"] == "missing"
    assert found["numpy"] == real("numpy")
    assert ["typst" in one["text"] for one in said.json["warnings"]] == [True]
    assert "typst" in run("doctor").out


@pytest.mark.parametrize("part", ["pydantic", "numba"])
def test_a_part_that_cannot_be_loaded_is_named(part: str) -> None:
    code = (
        f"import sys; sys.modules[{part!r}] = None\n"
        "from foreaft.cli import main\n"
        "sys.exit(main(['doctor', '--json']))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert '"code": "missing_part"' in done.stdout
    assert part in done.stderr
    assert "Traceback" not in done.stderr
