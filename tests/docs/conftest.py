"""A place to run what the pages say, as a newcomer would: project folder and program at hand."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from docs.pages import ROOT

Run = Callable[[str], "subprocess.CompletedProcess[str]"]


def runner(folder: Path) -> Run:
    """Run shell commands in a folder that sees the project's ``src``; history stays in there."""
    if not (folder / "src").exists():
        (folder / "src").symlink_to(ROOT / "src")
    bin_ = Path(sys.executable).parent
    env = os.environ | {
        "PATH": f"{bin_}{os.pathsep}{os.environ['PATH']}",
        "FOREAFT_DATA": str(folder / "data"),
    }

    def run(command: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            command, shell=True, cwd=folder, env=env, capture_output=True, text=True, check=False
        )

    return run


@pytest.fixture
def shell(tmp_path: Path) -> Run:
    """Give a shell in an empty folder."""
    return runner(tmp_path)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """Run the demo once: what it printed, and the folder it wrote."""
    folder = tmp_path_factory.mktemp("demo")
    done = runner(folder)("foreaft demo")
    assert done.returncode == 0, done.stderr
    return done.stdout, folder / "foreaft-demo"
