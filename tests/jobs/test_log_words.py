"""What is said of the columns of several logs: each takes its own, and nothing is passed over."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.jobs.learn import learn
from foreaft.jobs.log_words import LogWords
from foreaft.jobs.read_log import read
from foreaft.jobs.requests import LearnRequest, ReadRequest
from logs import made

PA_PER_PSI = 6894.757293168  # 1 lbf over 1 square inch: 4.4482216152605 N / (0.0254 m)^2


@pytest.fixture
def logs(tmp_path: Path) -> dict[str, Path]:
    """The same run by two loggers that both call a pressure "Brake", and by one that is clear."""
    run = made.run()
    start = {"Time [s]": run["time_s"], "Speed [km/h]": run["speed_mps"] * 3.6}
    pressure = run["pressure_front_Pa"]
    columns = {
        "ours": start | {"Brake": pressure / 1e5},
        "theirs": start | {"Brake": pressure / PA_PER_PSI, "Gear": np.full(len(pressure), 3.0)},
        "clear": start | {"Brake pressure front [bar]": pressure / 1e5},
    }
    return {
        name: made.write_csv(tmp_path / name / f"{name}.csv", each)
        for name, each in columns.items()
        if not (tmp_path / name).mkdir()
    }


def said(log: Path, unit: str) -> Path:
    kept = log.parent.parent / f"{log.stem}.mapping.toml"  # not beside the log
    read(ReadRequest(log=log, maps=[f"Brake=pressure_front_Pa:{unit}"], save_mapping=kept))
    return kept


def test_each_log_takes_its_own_mapping(logs: dict[str, Path]) -> None:
    """Both say bar and psi of a column of one name, in either order, and come to the same Pa."""
    mappings = [said(logs["theirs"], "psi"), said(logs["ours"], "bar")]
    truth = made.run()["pressure_front_Pa"].max()
    for order in (mappings, mappings[::-1]):
        words = LogWords(order, [], 3)
        for name in ("ours", "theirs", "clear"):
            found = words.read(logs[name]).recordings[0]["pressure_front_Pa"]
            assert found.value.max() == pytest.approx(truth, rel=1e-3), name
        words.check()


def test_a_mapping_of_other_columns_is_never_taken_for_a_log(logs: dict[str, Path]) -> None:
    words = LogWords([said(logs["ours"], "bar")], [], 2)
    assert "pressure_front_Pa" in words.read(logs["ours"]).recordings[0]
    assert "pressure_front_Pa" not in words.read(logs["theirs"]).recordings[0]
    words.check()


def test_a_mapping_that_is_of_no_log_is_refused(logs: dict[str, Path]) -> None:
    asked = LearnRequest(
        logs=[logs["clear"], logs["theirs"]], car="gt-mid", mapping=[said(logs["ours"], "bar")]
    )
    with pytest.raises(InputError) as caught:
        learn(asked)
    assert caught.value.code == "mapping_of_no_log"
    assert caught.value.value == "ours.mapping.toml"


def test_a_word_goes_to_the_logs_that_have_its_column(logs: dict[str, Path]) -> None:
    words = LogWords([], ["Brake=pressure_front_Pa:bar"], 2)
    assert "pressure_front_Pa" in words.read(logs["ours"]).recordings[0]
    assert "pressure_front_Pa" in words.read(logs["clear"]).recordings[0]
    words.check()
    none = LogWords([], ["Brakes=pressure_front_Pa:bar"], 2)
    none.read(logs["ours"])
    with pytest.raises(InputError) as caught:
        none.check()
    assert (caught.value.code, caught.value.value) == ("log_column_unknown", "Brakes")


def test_of_a_lone_log_a_mapping_is_taken_at_its_word(logs: dict[str, Path]) -> None:
    mapping = said(logs["ours"], "bar")
    assert "pressure_front_Pa" in LogWords([mapping], [], 1).read(logs["theirs"]).recordings[0]
    with pytest.raises(InputError) as caught:
        LogWords([mapping], [], 1).read(logs["clear"])
    assert caught.value.code == "log_column_unknown"
