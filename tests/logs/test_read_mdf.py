"""The child that opens MDF files: what it may not do, and what becomes of it."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.logs import mdf_reader
from foreaft.logs.mdf_reader import MAGIC, read_mdf
from logs import made


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "log.mf4"
    path.write_bytes(MAGIC[0] + b"4.10    " + bytes(200))
    return path


CRASHES = {
    "is ended by the system": "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)",
    "ends without an index": "raise SystemExit(3)",
    "says what is wrong": "raise KeyboardInterrupt('the sky fell')",
    "leaves an index that is none": "return {'error': {}.fromkeys}",
    "asks for all memory": "bytearray(1 << 34)",
    "never ends": "resource.setrlimit(resource.RLIMIT_CPU, (1, 2))\nwhile True: pass",
    "sleeps": "import time; time.sleep(60)",
}


def put_in_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str, idle_s: float = 60.0
) -> None:
    """Let the child do something else with a file that is small; it reads others as ever."""
    script = tmp_path / "child.py"
    script.write_text(
        "import resource, sys\n"
        "from foreaft.logs import mdf_child\n"
        "real = mdf_child.read\n"
        "def read(file, folder):\n"
        "    if file.stat().st_size > 1000: return real(file, folder)\n"
        + textwrap.indent(body, "    ")
        + f"\nmdf_child.read, mdf_child.IDLE_S = read, {idle_s}\nmdf_child.main()\n"
    )
    starter = tmp_path / "python"
    starter.write_text(f'#!/bin/sh\nexec "{sys.executable}" "{script}"\n')
    starter.chmod(0o755)
    mdf_reader.end_waiting()
    monkeypatch.setattr(mdf_reader.sys, "executable", str(starter))


@pytest.fixture(autouse=True)
def nobody_waits() -> Iterator[None]:
    yield
    mdf_reader.end_waiting()


def good_log(folder: Path) -> Path:
    time = np.arange(300) / 100.0
    return made.write_mdf(folder / "good.mf4", [(time, {"Speed": (40.0 + time, "km/h")})])


@pytest.mark.skipif(sys.platform == "win32", reason="limits need a system that has them")
@pytest.mark.parametrize("what", CRASHES)
def test_whatever_becomes_of_the_child_is_an_error(
    what: str, file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The child is made to do what damaged files make the library do; the next file is read."""
    put_in_its_place(tmp_path, monkeypatch, CRASHES[what])
    patience = mdf_reader.BUSY
    if what == "sleeps":
        monkeypatch.setattr(mdf_reader, "BUSY", 0.5)
    with pytest.raises(InputError) as caught:
        read_mdf(file, 216)
    monkeypatch.setattr(mdf_reader, "BUSY", patience)
    assert caught.value.code == "log_damaged"
    assert caught.value.file == str(file)
    assert caught.value.value
    if what == "says what is wrong":
        assert "the sky fell" in str(caught.value.value)
    if what in ("never ends", "sleeps"):
        assert "processor" in str(caught.value.value)
    good = good_log(tmp_path)
    assert read_mdf(good, good.stat().st_size).groups[0].columns


@pytest.mark.skipif(sys.platform == "win32", reason="there is no fork, so no child waits")
def test_one_child_opens_many_files_and_may_be_gone_in_between(tmp_path: Path) -> None:
    mdf_reader.end_waiting()
    good = good_log(tmp_path)
    read_mdf(good, good.stat().st_size)
    (first,) = mdf_reader._waiting
    read_mdf(good, good.stat().st_size)
    assert mdf_reader._waiting == [first]
    first.process.kill()
    first.process.wait()
    read_mdf(good, good.stat().st_size)
    (other,) = mdf_reader._waiting
    assert other is not first


@pytest.mark.skipif(sys.platform == "win32", reason="there is no fork, so no child waits")
def test_files_are_opened_side_by_side(tmp_path: Path) -> None:
    good = good_log(tmp_path)
    size = good.stat().st_size
    with ThreadPoolExecutor(2) as pool:
        logs = list(pool.map(lambda _: read_mdf(good, size), range(4)))
    assert all(len(log.groups[0].columns) == 1 for log in logs)
    assert len(mdf_reader._waiting) <= 2


@pytest.mark.skipif(sys.platform == "win32", reason="there is no fork, so no child waits")
def test_a_child_nobody_asks_gives_its_memory_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in_its_place(tmp_path, monkeypatch, "pass", idle_s=0.5)
    child = mdf_reader.Child()
    assert child.process.wait(timeout=30.0) == 0
    child.end()


def test_nothing_is_left_behind(
    file: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    folder = tmp_path / "quick"
    folder.mkdir()
    monkeypatch.setattr(mdf_reader, "_quick_folder", lambda size: folder)
    with pytest.raises(InputError):
        read_mdf(file, 216)
    assert list(folder.iterdir()) == []
