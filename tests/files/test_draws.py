"""Joint draws: read whole, refused where a cell is no number, kept together by the sampling."""

from __future__ import annotations

import contextlib
from pathlib import Path

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.files.draws import read_draws
from foreaft.model.car import draw
from model.car_text import plain_car


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("d.csv", "mass_kg,tyre.mu_x\n1190,1.1\n1210, 1.3\n"),
        ("d.json", '{"mass_kg": [1190, 1210], "tyre.mu_x": [1.1, 1.3]}'),
    ],
)
def test_rows_stay_together(name: str, text: str, tmp_path: Path) -> None:
    file = tmp_path / name
    file.write_text(text)
    drawn = draw(plain_car(), 1, 4, read_draws(file))
    assert drawn["mass_kg"].tolist() == [1200, 1190, 1210, 1190, 1210]
    assert drawn["tyre.mu_x"].tolist() == [1.2, 1.1, 1.3, 1.1, 1.3]


@pytest.mark.parametrize(
    ("name", "text", "line"),
    [
        ("d.csv", "a,b\n1\n", 2),
        ("d.csv", "a,b\n1,x\n", 2),
        ("d.csv", "a,b\n1,2\n1,nan\n", 3),
        ("d.csv", "a,a\n1,2\n", 1),
        ("d.csv", "a,b\n", None),
        ("d.json", "[1]", 1),
        ("d.json", '{"a": 1}', 1),
        ("d.json", '{"a": [1],\n"b": [}', 2),
        ("d.json", '{"a": [true]}', None),
        ("d.json", '{"a": [1], "b": []}', None),
        ("d.json", "[" * 100_000, 1),
        ("d.json", "{}", None),
    ],
)
def test_tables_refused(name: str, text: str, line: int | None, tmp_path: Path) -> None:
    file = tmp_path / name
    file.write_text(text)
    with pytest.raises(InputError) as caught:
        read_draws(file)
    assert caught.value.line == line
    assert caught.value.file == str(file)
    assert caught.value.allowed


def test_random_bytes(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    for turn in range(200):
        file = tmp_path / ("d.csv" if turn % 2 else "d.json")
        text = bytearray(b'{"a": [1, 2], "b": [3, 4]}' if turn % 2 == 0 else b"a,b\n1,2\n3,4\n")
        for at in rng.integers(len(text), size=2):
            text[at] = rng.integers(256)
        file.write_bytes(text)
        with contextlib.suppress(InputError):
            read_draws(file)
