"""The command line as its users meet it: typed words in, two streams and an exit code out."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from foreaft.cli import main
from foreaft.files.classes import demo_folder

DEMO = Path(str(demo_folder()))
CAR, DRIVER = str(DEMO / "car.toml"), str(DEMO / "driver.toml")
SHEET, CIRCUIT = str(DEMO / "sheet.csv"), str(DEMO / "brackwater.csv")
DRY, WET = str(DEMO / "dry.toml"), str(DEMO / "wet.toml")
PLAN = ["plan", "--car", CAR, "--sheet", SHEET, "--samples", "0"]


@dataclass(frozen=True)
class Said:
    """What one run of the program said."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The whole of standard output as JSON, without NaN or Infinity."""

        def refuse(word: str) -> None:
            raise ValueError(word)

        return json.loads(self.out, parse_constant=refuse)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Run the program inside this process."""

    def one(*typed: str) -> Said:
        capsys.readouterr()
        code = main([str(word) for word in typed])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        assert "mistake in the program" not in err, err
        return Said(code, out, err)

    return one


def program(*typed: str) -> list[str]:
    """The words that start the program in a process of its own."""
    return [sys.executable, "-m", "foreaft.cli", *typed]


def start(*typed: str, **how: Any) -> subprocess.Popen[str]:
    """Start the program in a process of its own."""
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | how
    return subprocess.Popen(program(*typed), text=True, env=os.environ | {"LC_ALL": "C"}, **streams)
