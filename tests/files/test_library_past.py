"""Former versions are thinned out with age, never the newest; a draft leaves few of them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from foreaft.files.library import Library, revision_of
from foreaft.files.library_past import DRAFT_S, KEPT, Past, surplus

DAY_S = 24 * 3600


def put_away(library: Library, at_s: float, mark: str = "") -> Path:
    """Lay down a former version of a given age, as a save of that moment would have."""
    text = f"{at_s}\n".encode()
    folder = library.root / ".past" / "cars" / "one"
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / f"{round(at_s * 1000):015d}-{revision_of(text)}{mark}.toml"
    file.write_bytes(text)
    return file


@pytest.fixture
def library(tmp_path: Path) -> Library:
    """A new library with one thing."""
    made = Library(tmp_path / "library")
    made.save("cars", "one", b"first\n", None)
    return made


def test_the_last_fifty_stay_and_before_them_one_of_each_day(library: Library) -> None:
    noon = (time.time() // DAY_S) * DAY_S - DAY_S // 2
    for day in range(40):
        for minute in range(10):
            put_away(library, noon - day * DAY_S - minute * 60)
    first = library.revision("cars", "one")
    library.save("cars", "one", b"second\n", first)
    found = library.past("cars", "one")
    assert found[0].revision == first
    # The one just kept and 49 more are of five days; of each of the 35 before them, its last.
    assert len(found) == KEPT + 35
    older = found[KEPT:]
    assert [one.at for one in older] == [round((noon - day * DAY_S) * 1000) for day in range(5, 40)]


def test_refused_versions_push_out_no_saved_ones(library: Library) -> None:
    begun = (time.time() // DAY_S) * DAY_S - DAY_S // 2
    saved = [put_away(library, begun - DAY_S + minute) for minute in range(KEPT - 1)]
    for minute in range(3 * KEPT):
        put_away(library, begun + minute, "-refused")
    library.save("cars", "one", b"second\n", library.revision("cars", "one"))
    found = library.past("cars", "one")
    assert {one.file for one in found if not one.refused} >= set(saved)
    assert sum(one.refused for one in found) == KEPT


def test_what_was_removed_can_always_be_brought_back(library: Library) -> None:
    for second in range(3 * KEPT):
        put_away(library, time.time() - 1000 + second)
    revision = library.revision("cars", "one")
    library.remove("cars", "one", revision)
    [(_, _, gone)] = library.removed()
    assert gone.revision == revision
    library.restore("cars", "one", gone.revision, None)
    assert library.place("cars", "one").read_bytes() == b"first\n"


@given(st.lists(st.integers(0, 40 * DAY_S), max_size=200, unique=True))
def test_every_day_keeps_its_last_and_nothing_is_removed_twice(seconds: list[int]) -> None:
    versions = [
        Past("0" * 12, at * 1000, refused=False, removed=False, file=Path(str(at)), ending="")
        for at in sorted(seconds, reverse=True)
    ]
    gone = surplus(versions)
    stay = [one for one in versions if one not in gone]
    assert stay[:KEPT] == versions[:KEPT]

    def date(one: Past) -> str:
        return datetime.fromtimestamp(one.at / 1000, UTC).date().isoformat()

    last = {date(one): one for one in reversed(versions)}
    assert set(last.values()) <= set(stay)
    assert len(stay) <= KEPT + len(last)
    assert surplus(stay) == []


PRUNER = """
import sys
from pathlib import Path
from foreaft.files.library import Library
library = Library(Path(sys.argv[1]))
print("ready", flush=True)
library.save("cars", "one", sys.argv[2].encode(), library.revision("cars", "one"))
"""
ROUNDS = 8


def day_of(one: Past, noon: float) -> float:
    """Seconds of the whole days a version of `noon` or a little before lies back."""
    return round((noon - one.at / 1000) // DAY_S) * DAY_S


def test_killed_while_thinning_out_nothing_that_stays_is_lost(library: Library) -> None:
    noon = (time.time() // DAY_S) * DAY_S - DAY_S // 2
    for day in range(30):
        for second in range(60):
            put_away(library, noon - day * DAY_S - second)
    before = library.past("cars", "one")
    must = {one.file for one in before[: KEPT - ROUNDS]}  # each round may add one above them
    must |= {one.file for one in before if one.at == round((noon - day_of(one, noon)) * 1000)}
    assert len(must) == KEPT - ROUNDS + 29
    left = []
    for number in range(ROUNDS):
        words = [sys.executable, "-c", PRUNER, str(library.root), str(number)]
        pruner = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        assert pruner.stdout is not None
        pruner.stdout.readline()
        time.sleep(0.01 * number)
        os.kill(pruner.pid, signal.SIGKILL)
        pruner.wait()
        found = {one.file for one in library.past("cars", "one")}
        assert must <= found
        left.append(len(found))
    assert left[-1] < len(before), "some of them got as far as removing"
    now = library.stored("cars", "one")
    library.save("cars", "one", b"third", now.revision)
    assert len(library.past("cars", "one")) <= KEPT + 30


def test_a_draft_is_one_version_for_a_few_minutes(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    revision = library.revision("cars", "one")
    for number in range(20):
        text = f"typed {number}".encode()
        revision = library.save("cars", "one", text, revision, draft=True).revision
    found = library.past("cars", "one")
    assert [one.file.read_bytes() for one in found] == [b"first\n"], "what stood before the typing"
    later = time.time() + DRAFT_S + 1
    monkeypatch.setattr("foreaft.files.library_past.time.time", lambda: later)
    revision = library.save("cars", "one", b"typed later", revision, draft=True).revision
    assert len(library.past("cars", "one")) == 2
    library.save("cars", "one", b"meant", revision)
    library.save("cars", "one", b"typed again", revision_of(b"meant"), draft=True)
    kept = [one.file.read_bytes() for one in library.past("cars", "one")]
    assert kept[:2] == [b"meant", b"typed later"], "what was saved on purpose is kept at once"
