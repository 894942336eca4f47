"""The child that opens MDF files: what it may not do, and what becomes of it."""

from __future__ import annotations

import sys
import textwrap
from pathlib import Path

import pytest

from foreaft.base.errors import InputError
from foreaft.logs import mdf_reader
from foreaft.logs.mdf_reader import MAGIC, read_mdf


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "log.mf4"
    path.write_bytes(MAGIC[0] + b"4.10    " + bytes(200))
    return path


CRASHES = {
    "is ended by the system": "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)",
    "ends without an index": "raise SystemExit(3)",
    "says what is wrong": "raise RuntimeError('the sky fell')",
    "leaves an index that is none": "(folder / 'index.json').write_text('{')",
    "asks for all memory": "mdf_child._limit(800_000_000, 60); x = bytearray(1 << 34)",
    "never ends": "mdf_child._limit(8 << 30, 1)\nwhile True: pass",
}


@pytest.mark.skipif(sys.platform == "win32", reason="limits need a system that has them")
@pytest.mark.parametrize("what", CRASHES)
def test_whatever_becomes_of_the_child_is_an_error(
    what: str, file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another child is put in its place, which does what a damaged file made the real one do."""
    script = tmp_path / "child.py"
    body = "import sys\nfrom pathlib import Path\nfrom foreaft.logs import mdf_child\n"
    script.write_text(body + "folder = Path(sys.argv[-3])\n" + textwrap.dedent(CRASHES[what]))
    starter = tmp_path / "python"
    starter.write_text(f'#!/bin/sh\nshift 3\nexec "{sys.executable}" "{script}" "$@"\n')
    starter.chmod(0o755)
    monkeypatch.setattr(mdf_reader.sys, "executable", str(starter))
    with pytest.raises(InputError) as caught:
        read_mdf(file, 216)
    assert caught.value.code == "log_damaged"
    assert caught.value.file == str(file)
    assert caught.value.value
    if what == "says what is wrong":
        assert "the sky fell" in str(caught.value.value)
    if what == "never ends":
        assert "processor" in str(caught.value.value)


def test_nothing_is_left_behind(
    file: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    folder = tmp_path / "quick"
    folder.mkdir()
    monkeypatch.setattr(mdf_reader, "_quick_folder", lambda size: folder)
    with pytest.raises(InputError):
        read_mdf(file, 216)
    assert list(folder.iterdir()) == []
