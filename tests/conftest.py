"""What all tests share: open data, a real browser, the profile of the property tests."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parent.parent
OPEN_DATA = Path(os.environ.get("FOREAFT_OPEN_DATA", ROOT.parent / "shared" / "data"))
CHROMIUM = shutil.which("chromium")

# Compiling a kernel inside an example would break any deadline.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, database=None, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip, by name, what this machine cannot run."""
    skip_browser = pytest.mark.skip(reason="no Chromium on this machine")
    skip_data = pytest.mark.skip(reason="open data is absent (FOREAFT_OPEN_DATA names its folder)")
    for item in items:
        if CHROMIUM is None and item.get_closest_marker("browser"):
            item.add_marker(skip_browser)
        if not OPEN_DATA.is_dir() and item.get_closest_marker("open_data"):
            item.add_marker(skip_data)


@pytest.fixture(scope="session")
def open_data() -> Callable[[str], Path]:
    """Give the path of one file or folder of the open data; skip where it is absent."""

    def find(name: str) -> Path:
        path = OPEN_DATA / name
        if not path.exists():
            pytest.skip(f"open data {name} is absent (FOREAFT_OPEN_DATA names its folder)")
        return path

    return find


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Start Debian's Chromium, headless; it is told to stay off the network."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    from playwright.sync_api import sync_playwright

    quiet = ["disable-gpu", "disable-quic", "no-first-run", "disable-background-networking"]
    quiet += ["no-sandbox", "disable-component-update", "disable-sync"]
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=CHROMIUM, headless=True, args=[f"--{word}" for word in quiet]
        )
        yield browser
        browser.close()


@pytest.fixture
def page(chromium: Any, forgiven: re.Pattern[str] | None) -> Iterator[Any]:
    """Open one fresh page; anything it complains about in its console fails the test."""
    complaints: list[str] = []
    context = chromium.new_context()
    sheet = context.new_page()
    sheet.on("pageerror", lambda error: complaints.append(str(error)))
    sheet.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    yield sheet
    context.close()
    assert not [one for one in complaints if forgiven is None or not forgiven.search(one)]


@pytest.fixture
def forgiven() -> re.Pattern[str] | None:
    """Complaints that are none; a folder of tests may know some."""
    return None
