"""Writing: whole or not at all, nothing left behind, no other man's change lost."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from foreaft.base.errors import InputError
from foreaft.files import atomic, toml
from foreaft.model.fields import revision
from model.car_text import plain_car


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def fail_with(monkeypatch: pytest.MonkeyPatch, call: str, number: int) -> None:
    def broken(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, call, broken)


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    atomic.write_file(file, "one")
    file.chmod(0o640)
    atomic.write_file(file, b"two")
    assert file.read_bytes() == b"two"
    assert file.stat().st_mode & 0o777 == 0o640
    assert names(tmp_path) == ["a.toml"]


@pytest.mark.parametrize(
    ("call", "number", "code"),
    [
        ("fsync", errno.ENOSPC, "file_disk_full"),
        ("write", errno.ENOSPC, "file_disk_full"),
        ("write", errno.EDQUOT, "file_disk_full"),
        ("fsync", errno.EIO, "file_unwritable"),
        ("write", errno.EROFS, "file_no_permission"),
    ],
)
def test_a_full_disk_leaves_the_old_file(
    call: str, number: int, code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "a.toml"
    file.write_text("old")
    fail_with(monkeypatch, call, number)
    with pytest.raises(InputError) as caught:
        atomic.write_file(file, "new")
    monkeypatch.undo()
    assert caught.value.code == code
    assert caught.value.file == str(file)
    assert file.read_text() == "old"
    assert names(tmp_path) == ["a.toml"]


def test_a_full_disk_leaves_no_part_of_a_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fail_with(monkeypatch, "fsync", errno.ENOSPC)
    with pytest.raises(InputError):
        atomic.write_folder(tmp_path / "new" / "out", {"a": "1", "b": "2"})
    monkeypatch.undo()
    assert names(tmp_path) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is full")
def test_a_really_full_device() -> None:
    """What the system itself says when there is no room, not what we made it say."""
    with (
        pytest.raises(OSError, match=os.strerror(errno.ENOSPC)) as caught,
        Path("/dev/full").open("wb", buffering=0) as stream,
    ):
        stream.write(b"x")
    assert caught.value.errno in atomic._REASONS


def test_ctrl_c_in_the_middle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    file = tmp_path / "a.toml"
    file.write_text("old")
    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        atomic.write_file(file, "new")
    with pytest.raises(KeyboardInterrupt):
        atomic.write_folder(tmp_path / "out", {"a": "1"})
    monkeypatch.undo()
    assert file.read_text() == "old"
    assert names(tmp_path) == ["a.toml"]


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "plain").write_text("x")
    for path in (tmp_path / "no" / "a.toml", tmp_path / "folder", tmp_path / "plain" / "a.toml"):
        with pytest.raises(InputError):
            atomic.write_file(path, "x")
    assert names(tmp_path) == ["folder", "plain"]


def test_a_folder_comes_whole_and_keeps_what_it_had(tmp_path: Path) -> None:
    out = atomic.write_folder(tmp_path / "new" / "out", {"a": "1", "sub/b": b"2"})
    assert names(out) == ["a", "sub"]
    assert names(out.parent) == ["out"]
    (out / "mine").write_text("kept")
    atomic.write_folder(out, {"a": "3", "sub/c": "4"})
    assert names(out) == ["a", "mine", "sub"]
    assert (out / "a").read_text() == "3"
    assert names(out / "sub") == ["b", "c"]


def test_saving_names_the_revision_it_started_from(tmp_path: Path) -> None:
    file, first = tmp_path / "car.toml", plain_car()
    base = atomic.save(file, first, None)
    assert base == revision(first)
    second = first.replace(mass_kg=1250)
    assert atomic.save(file, second, base) == revision(second)
    assert toml.read_car(file) == second
    assert names(tmp_path) == ["car.toml"]


@pytest.mark.parametrize("base", [None, "0123456789ab"])
def test_a_stale_save_keeps_both(base: str | None, tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    atomic.save(file, plain_car(), None)
    mine = plain_car().replace(mass_kg=1250)
    with pytest.raises(InputError) as caught:
        atomic.save(file, mine, base)
    assert caught.value.code == "revision_mismatch"
    assert toml.read_car(file) == plain_car()
    other = tmp_path / f"car.{revision(mine)}.toml"
    assert other.name in caught.value.hint
    assert toml.read_car(other) == mine
