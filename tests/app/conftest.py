"""A running app with a library of its own, and a page that may ask nobody else."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
BUILT = ROOT / "src" / "foreaft" / "web" / "built" / "index.html"
START_S = 120.0
PATIENCE_MS = 60_000
"""The first answer may have to wait for kernels to be compiled."""

REFUSAL = re.compile(r"Failed to load resource: .* status of (400|409|413|422)")
"""The browser's own note of a refused request, which the page shows in words."""


@dataclass(frozen=True)
class House:
    """A running app: where it answers, where its library lies, and its process."""

    address: str
    library: Path
    process: subprocess.Popen[str]


def start(library: Path, log: Path) -> House:
    """Start the app, which finds a free port, with a library, and wait until it answers."""
    process = subprocess.Popen(
        [sys.executable, "-m", "foreaft.cli", "app", "--no-browser"],
        stdout=log.open("w"),
        stderr=subprocess.STDOUT,
        text=True,
        env=os.environ | {"FOREAFT_LIBRARY": str(library), "PYTHONUNBUFFERED": "1"},
    )
    until = time.monotonic() + START_S
    while time.monotonic() < until and process.poll() is None:
        said = re.search(r"http://127\.0\.0\.1:\d+", log.read_text("utf-8"))
        if said and _answers(said[0]):
            return House(said[0], library, process)
        time.sleep(0.05)
    process.kill()
    raise AssertionError(f"the app did not start: {log.read_text('utf-8')}")


def _answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/api/about", timeout=5) as answer:
            return bool(answer.status == 200)
    except OSError:
        return False


def stop(house: House) -> None:
    """End the app as Ctrl-C would."""
    house.process.terminate()
    try:
        house.process.wait(20)
    except subprocess.TimeoutExpired:
        house.process.kill()


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """One running app for the tests of one file."""
    if not BUILT.is_file():
        pytest.skip("the app is not built (make app)")
    folder = tmp_path_factory.mktemp("app")
    running = start(folder / "library", folder / "log.txt")
    yield running
    stop(running)


@pytest.fixture
def forgiven() -> re.Pattern[str]:
    """An answer that refuses is shown by the page, and no complaint of it."""
    return REFUSAL


@pytest.fixture
def app(house: House, page: Any) -> Iterator[Any]:
    """A fresh page that knows the app's address; it may ask nobody but our own server."""
    strangers: list[str] = []
    own = (house.address, "data:", "blob:", "about:")
    page.on("request", lambda one: None if one.url.startswith(own) else strangers.append(one.url))
    page.set_default_timeout(PATIENCE_MS)
    page.set_viewport_size({"width": 1400, "height": 900})
    page.house = house
    page.open = lambda path: page.goto(house.address + path)
    yield page
    assert not strangers, f"asked outside: {strangers}"


@pytest.fixture
def expect() -> Any:
    """Playwright's checks that wait."""
    from playwright.sync_api import expect as waiting

    waiting.set_options(timeout=PATIENCE_MS)
    return waiting
