"""What was removed from a library is told, so that it can be brought back after a restart too."""

from __future__ import annotations

from pathlib import Path

from foreaft.files.library import Library


def told(library: Library) -> list[tuple[str, str]]:
    return [(kind, name) for kind, name, _ in library.removed()]


def test_what_is_removed_is_told_until_it_is_there_again(tmp_path: Path) -> None:
    library = Library(tmp_path)
    first = library.save("cars", "one", b"a = 1\n", None)
    library.save("drivers", "two", b"b = 1\n", None)
    assert told(library) == []
    library.remove("cars", "one", first.revision)
    ((_, _, gone),) = Library(tmp_path).removed()
    assert told(library) == [("cars", "one")]
    library.restore("cars", "one", gone.revision, None)
    assert told(library) == []
    assert library.stored("cars", "one").file.read_bytes() == b"a = 1\n"


def test_zones_go_and_come_with_their_circuit(tmp_path: Path) -> None:
    library = Library(tmp_path)
    road = library.save("circuits", "oval", b"x_m,y_m\n0,0\n", None)
    library.save("zones", "oval", b"zone_id,name,apex_s_m\nz01,A,5\n", None)
    library.remove("circuits", "oval", road.revision)
    assert told(library) == [("circuits", "oval")]
    ((_, _, gone),) = library.removed()
    library.restore("circuits", "oval", gone.revision, None)
    assert told(library) == []


def test_a_version_refused_is_no_removed_thing(tmp_path: Path) -> None:
    library = Library(tmp_path)
    there = library.save("cars", "one", b"a = 1\n", None)
    library.save("cars", "one", b"a = 2\n", there.revision)
    assert told(library) == []
