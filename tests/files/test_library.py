"""The library on disk: nothing that was saved is lost, whoever writes and whatever dies."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from foreaft.base.errors import InputError
from foreaft.files.library import Library, revision_of
from foreaft.files.library_names import LONGEST, is_id, safe_name
from foreaft.files.library_past import KEPT

WRITER = """
import sys
from pathlib import Path
from foreaft.base.errors import InputError
from foreaft.files.library import Library
library, mark, count = Library(Path(sys.argv[1])), sys.argv[2], int(sys.argv[3])
for number in range(count):
    while True:
        stored = library.stored("cars", "one")
        text = stored.file.read_text()
        try:
            library.save("cars", "one", (text + f"{mark}{number}\\n").encode(), stored.revision)
        except InputError as error:
            assert error.code == "saved_elsewhere"
            continue
        break
"""

WITHOUT_END = """
import sys
from pathlib import Path
from foreaft.files.library import Library
library = Library(Path(sys.argv[1]))
revision = library.revision("cars", "one")
for number in range(10**9):
    text = f"{number:09d}" * 20_000
    revision = library.save("cars", "one", text.encode(), revision).revision
    print(revision, flush=True)
"""


@pytest.fixture
def library(tmp_path: Path) -> Library:
    """A new library with one thing."""
    made = Library(tmp_path / "library")
    made.save("cars", "one", b"first\n", None)
    return made


def code_of(error: pytest.ExceptionInfo[InputError]) -> str:
    return error.value.code


def test_two_processes_lose_nothing_of_each_other(library: Library) -> None:
    count = 15
    words = [sys.executable, "-c", WRITER, str(library.root)]
    writers = [subprocess.Popen([*words, mark, str(count)]) for mark in "ab"]
    assert [one.wait(120) for one in writers] == [0, 0]
    lines = library.place("cars", "one").read_text().split()
    assert lines[0] == "first"
    for mark in "ab":
        mine = [line for line in lines if line.startswith(mark)]
        assert mine == [f"{mark}{number}" for number in range(count)]
    kept = [one for one in library.past("cars", "one") if not one.refused]
    assert len(kept) == 2 * count, "each save keeps what it replaced"


def test_killed_at_any_moment_nothing_saved_is_lost(library: Library) -> None:
    for round_ in range(6):
        words = [sys.executable, "-c", WITHOUT_END, str(library.root)]
        writer = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        assert writer.stdout is not None
        told = [writer.stdout.readline().strip()]
        time.sleep(0.05 + 0.037 * round_)
        os.kill(writer.pid, signal.SIGKILL)
        told += [line for line in writer.stdout.read().split("\n") if len(line) == 12]
        writer.wait()
        again = Library(library.root)
        now = again.stored("cars", "one")
        assert now.revision == revision_of(now.file.read_bytes())
        text = now.file.read_text()
        assert len(text) == 180_000
        assert len({text[i : i + 9] for i in range(0, len(text), 9)}) == 1, "whole, not mixed"
        past = {one.revision: one for one in again.past("cars", "one")}
        for revision in told[-KEPT:]:
            assert revision == now.revision or revision in past
        for revision, one in past.items():
            assert revision_of(one.file.read_bytes()) == revision
        assert again.ids("cars") == ["one"]


def test_what_a_dead_process_left_unfinished_is_swept(library: Library) -> None:
    old = time.time() - 7200
    for litter in (library.root / "cars" / ".one.toml.x1", library.root / ".part" / "half"):
        litter.write_bytes(b"half")
        os.utime(litter, (old, old))
    fresh = library.root / ".part" / "fresh"
    fresh.write_bytes(b"still coming")
    Library(library.root)
    assert not (library.root / "cars" / ".one.toml.x1").exists()
    assert [one.name for one in (library.root / ".part").iterdir()] == ["fresh"]


def test_a_save_on_another_revision_is_refused_and_kept(library: Library) -> None:
    first = library.revision("cars", "one")
    library.save("cars", "one", b"second\n", first)
    with pytest.raises(InputError) as error:
        library.save("cars", "one", b"mine\n", first)
    assert code_of(error) == "saved_elsewhere"
    assert library.place("cars", "one").read_bytes() == b"second\n"
    kept = library.past_file("cars", "one", revision_of(b"mine\n"))
    assert kept.read_bytes() == b"mine\n"
    assert [one.refused for one in library.past("cars", "one")] == [True, False]


def test_a_new_thing_replaces_nothing(library: Library) -> None:
    with pytest.raises(InputError) as error:
        library.save("cars", "one", b"other\n", None)
    assert code_of(error) == "saved_elsewhere"
    with pytest.raises(InputError):
        library.save("cars", "two", b"other\n", "0" * 12)
    assert library.ids("cars") == ["one"]


def test_the_same_again_changes_nothing(library: Library) -> None:
    stored = library.save("cars", "one", b"first\n", "0" * 12)
    assert stored.revision == revision_of(b"first\n")
    assert library.past("cars", "one") == []


def test_removed_and_back(library: Library) -> None:
    revision = library.revision("cars", "one")
    assert revision is not None
    with pytest.raises(InputError):
        library.remove("cars", "one", "0" * 12)
    library.remove("cars", "one", revision)
    assert library.ids("cars") == []
    assert [one.removed for one in library.past("cars", "one")] == [True]
    with pytest.raises(InputError) as error:
        library.stored("cars", "one")
    assert code_of(error) == "unknown_thing"
    library.restore("cars", "one", revision, None)
    assert library.place("cars", "one").read_bytes() == b"first\n"


def test_a_save_is_undone(library: Library) -> None:
    first = library.revision("cars", "one")
    assert first is not None
    second = library.save("cars", "one", b"second\n", first).revision
    library.restore("cars", "one", first, second)
    assert library.place("cars", "one").read_bytes() == b"first\n"
    library.restore("cars", "one", second, first)
    assert library.place("cars", "one").read_bytes() == b"second\n"


def test_a_circuit_comes_back_with_its_zones(library: Library) -> None:
    circuit = library.save("circuits", "oval", b"x_m,y_m\n", None).revision
    library.save("zones", "oval", b"zone_id\n", None)
    library.remove("circuits", "oval", circuit)
    assert library.ids("circuits") == library.ids("zones") == []
    library.restore("circuits", "oval", circuit, None)
    assert library.place("zones", "oval").read_bytes() == b"zone_id\n"


def test_a_circuit_of_another_layout_takes_the_place_of_the_former(library: Library) -> None:
    first = library.save("circuits", "oval", b"x_m,y_m\n", None, ".csv").revision
    library.save("circuits", "oval", b"{}", first, ".geojson")
    assert [one.name for one in library.place("circuits", "oval").parent.iterdir()] == [
        "oval.geojson"
    ]
    library.restore("circuits", "oval", first, revision_of(b"{}"))
    assert library.place("circuits", "oval").name == "oval.csv"


def sent(library: Library, data: bytes, name: str) -> str:
    part = library.part()
    part.write_bytes(data)
    return library.receive_log(part, name).id


def test_logs_of_one_name_stand_side_by_side(library: Library) -> None:
    assert sent(library, b"a", "friday.csv") == "friday.csv"
    assert sent(library, b"a", "friday.csv") == "friday.csv"
    assert sent(library, b"b", "friday.csv") == "friday-2.csv"
    assert sent(library, b"b", "friday.csv") == "friday-2.csv"
    assert sent(library, b"c", "friday.csv") == "friday-3.csv"
    assert library.ids("logs") == ["friday-2.csv", "friday-3.csv", "friday.csv"]
    assert list((library.root / ".part").iterdir()) == []


def test_a_log_is_removed_and_back(library: Library) -> None:
    sent(library, b"a", "friday.CSV")
    revision = revision_of(b"a")
    library.remove("logs", "friday.CSV", revision)
    assert library.ids("logs") == []
    library.restore("logs", "friday.CSV", revision, None)
    assert library.place("logs", "friday.CSV").read_bytes() == b"a"


def test_a_damaged_file_is_moved_aside_only_as_it_was_seen(library: Library) -> None:
    seen = library.revision("cars", "one")
    assert seen is not None
    library.place("cars", "one").write_bytes(b"mended meanwhile")
    assert library.set_aside("cars", "one", seen) is None
    now = library.revision("cars", "one")
    assert now is not None
    library.set_aside("cars", "one", now)
    assert library.ids("cars") == []
    assert [one.file.read_bytes() for one in library.aside()] == [b"mended meanwhile"]
    library.save("cars", "one", b"again", None)
    assert library.aside() == [], "told no more where there is one again; the file stays"
    assert (library.root / ".aside" / "cars" / "one" / f"{now}.toml").exists()


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        ("cars", "../one"),
        ("cars", "One"),
        ("cars", ""),
        ("cars", "a/b"),
        ("cars", ".hidden"),
        ("cars", "x" * (LONGEST + 1)),
        ("logs", ".."),
        ("logs", "../cars/one.toml"),
        ("logs", ".lock"),
        ("logs", "a\x00b"),
        ("circuits", "zones"),
        ("works", "one"),
        (".past", "cars"),
    ],
)
def test_no_name_leads_out(library: Library, kind: str, name: str) -> None:
    with pytest.raises(InputError) as error:
        library.place(kind, name)
    assert code_of(error) == "unknown_thing"


def test_no_link_leads_out(library: Library, tmp_path: Path) -> None:
    outside = tmp_path / "outside.toml"
    outside.write_text("secret")
    (library.root / "cars" / "two.toml").symlink_to(outside)
    (library.root / "circuits" / "far").symlink_to(tmp_path)
    assert library.ids("cars") == ["one"]
    assert library.ids("circuits") == []
    with pytest.raises(InputError):
        library.stored("cars", "two")


@given(st.text(max_size=200))
def test_a_safe_name_is_one_and_stays_so(name: str) -> None:
    safe = safe_name(name)
    assert is_id("logs", safe)
    assert safe_name(safe) == safe
    assert Path(safe).name == safe
    assert safe not in (".", "..")
    assert len(safe.encode()) <= LONGEST


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("<script>.csv", "-script-.csv"),
        ("C:\\logs\\friday.csv", "C-logs-friday.csv"),
        ("../../etc/passwd", "-..-etc-passwd"),
        ("Sára Ødegård 3.csv", "Sára Ødegård 3.csv"),
        ("con.csv", "log-con.csv"),
        ("...", "log"),
    ],
)
def test_what_names_become(name: str, safe: str) -> None:
    assert safe_name(name) == safe


def test_a_library_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError) as error:
        Library(tmp_path / "file" / "library")
    assert code_of(error) == "library_unwritable"
