"""A server of its own for each test, or one in a process of its own; both on a new library."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from starlette.testclient import TestClient

from foreaft.files.library import Library
from foreaft.web.app import Parts, make_app
from foreaft.web.guard import Rules

HOME = "http://127.0.0.1"
JSON = {"Content-Type": "application/json"}


@pytest.fixture
def parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Parts:
    """The server with its parts, on a new library."""
    monkeypatch.setenv("FOREAFT_DATA", str(tmp_path / "data"))
    return make_app(Library(tmp_path / "library"), Rules())


@pytest.fixture
def client(parts: Parts) -> TestClient:
    """Somebody at the address of the server."""
    return TestClient(parts.app, base_url=HOME, headers=JSON)


class Served(NamedTuple):
    """A server in a process of its own."""

    address: str
    pid: int


@contextmanager
def serving(library: Path, *options: str) -> Iterator[Served]:
    """Run ``foreaft app`` in a process of its own."""
    words = [sys.executable, "-m", "foreaft.cli", "app", "--no-browser", "--json"]
    typed = [*words, "--library", str(library), *options]
    process = subprocess.Popen(typed, stdout=subprocess.PIPE, text=True, env=dict(os.environ))
    try:
        assert process.stdout is not None
        address = json.loads(process.stdout.readline())["address"].rstrip("/")
        yield Served(address, process.pid)
    finally:
        process.kill()
        process.wait()


def refused(answer: Any, status: int) -> dict[str, Any]:
    """The error object of an answer, checked to be one."""
    assert answer.status_code == status, answer.text
    told: dict[str, Any] = answer.json()
    assert told["schema"] == "foreaft.error/1"
    assert told["message"]
    return told
