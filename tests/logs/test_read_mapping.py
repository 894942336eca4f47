"""What somebody says of the columns, kept in a small file and found again beside the next log."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from foreaft.base.errors import InputError, MissingPart
from foreaft.cli import main
from foreaft.jobs.read_log import read
from foreaft.jobs.requests import ReadRequest
from foreaft.logs import mdf_reader
from foreaft.logs.mapping import read_mapping, typed
from foreaft.logs.read import read_log
from foreaft.model.answers import Envelope, ReadLog
from logs import made


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A log of which the brake and the lateral acceleration have to be asked."""
    run = made.run()
    columns = {
        "Time [s]": run["time_s"],
        "Speed [km/h]": run["speed_mps"] * 3.6,
        "Brake [bar]": run["pressure_front_Pa"] / 1e5,
        "Sensor 7": -run["accel_y_mps2"] / made.G,
    }
    return made.write_csv(tmp_path / "friday.csv", columns)


def test_a_word_is_kept_and_found_again(log: Path, tmp_path: Path) -> None:
    words = ["Brake [bar]=pressure_front_Pa:bar", "Sensor 7=-accel_y_mps2:g"]
    kept = tmp_path / "ours.mapping.toml"
    answer = read(ReadRequest(log=log, maps=words, save_mapping=kept))
    assert answer.files == [str(kept)]
    assert answer.warnings == []
    before = kept.read_text("utf-8")
    saturday = log.rename(tmp_path / "saturday.csv")
    again = read(ReadRequest(log=saturday))
    assert again.result.mapping_file == str(kept)
    run = made.run()
    recording = read_log(saturday).recordings[0]
    np.testing.assert_allclose(recording["pressure_front_Pa"].value, run["pressure_front_Pa"])
    np.testing.assert_allclose(recording["accel_y_mps2"].value, run["accel_y_mps2"], atol=1e-12)
    assert kept.read_text("utf-8") == before
    assert read_mapping(kept).columns_sha256 == again.result.columns_sha256


def test_a_mapping_is_given_by_name(log: Path, tmp_path: Path) -> None:
    kept = tmp_path / "sub" / "a.mapping.toml"
    kept.parent.mkdir()
    read(ReadRequest(log=log, maps=["Brake [bar]=pressure_rear_Pa:bar"], save_mapping=kept))
    assert "pressure_rear_Pa" not in read_log(log).recordings[0]
    given = read(ReadRequest(log=log, mapping=kept))
    names = [one.name for one in given.result.sessions[0].channels]
    assert "pressure_rear_Pa" in names
    changed = read(ReadRequest(log=log, mapping=kept, maps=["Brake [bar]=pressure_front_Pa:bar"]))
    names = [one.name for one in changed.result.sessions[0].channels]
    assert "pressure_front_Pa" in names
    assert "pressure_rear_Pa" not in names


def test_a_mapping_for_other_columns_is_not_taken(log: Path, tmp_path: Path) -> None:
    kept = tmp_path / "a.mapping.toml"
    read(ReadRequest(log=log, maps=["Brake [bar]=pressure_rear_Pa:bar"], save_mapping=kept))
    run = made.run()
    other = {"Time [s]": run["time_s"], "Speed [km/h]": run["speed_mps"]}
    answer = read(ReadRequest(log=made.write_csv(tmp_path / "other.csv", other)))
    assert answer.result.mapping_file is None


def test_what_a_mapping_says_is_not_turned(log: Path) -> None:
    """A mapping that calls a falling speed positive is obeyed, and the doubt is told."""
    run = made.run()
    columns = {
        "Time [s]": run["time_s"],
        "Speed [m/s]": run["speed_mps"],
        "A [m/s2]": -run["accel_x_mps2"],
    }
    made.write_csv(log, columns)
    recording = read_log(log, typed(["A [m/s2]=accel_x_mps2:m/s2"])).recordings[0]
    np.testing.assert_allclose(recording["accel_x_mps2"].value, -run["accel_x_mps2"])
    assert any("the mapping says otherwise" in note for note in recording.notes)


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ('schema = "foreaft.mapping/2"\n', "not_allowed", 1),
        ('schema = "foreaft.mapping/1"\nspeed = 1\n', "unknown_key", 2),
        ('schema = "foreaft.mapping/1"\n[[column]]\ncolumn = "a"\n', "missing_key", 2),
        (
            'schema = "foreaft.mapping/1"\n[[column]]\ncolumn = "a"\nchannel = "sped"\n',
            "channel_unknown",
            4,
        ),
        (
            'schema = "foreaft.mapping/1"\n[[column]]\ncolumn = "a"\nchannel = "speed_mps"\n'
            'unit = "bar"\n',
            "unit_unknown",
            5,
        ),
        (
            'schema = "foreaft.mapping/1"\n[[column]]\ncolumn = "a"\nchannel = "speed_mps"\n'
            'unit = "m/s"\nscale = 0\n',
            "out_of_range",
            6,
        ),
        ("column = [\n", "not_toml", 1),
    ],
)
def test_a_wrong_mapping_is_refused(
    log: Path, tmp_path: Path, text: str, code: str, line: int
) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        read(ReadRequest(log=log, mapping=wrong))
    assert caught.value.code == code
    assert caught.value.line == line


@pytest.mark.parametrize(
    ("word", "code"),
    [
        ("Brake", "map_unclear"),
        ("Brake [bar]=", "map_unclear"),
        ("Brake [bar]=speed_mps:bar", "unit_unknown"),
        ("Brake [bar]=pressure_front", "channel_unknown"),
        ("Break=pressure_front_Pa:bar", "log_column_unknown"),
    ],
)
def test_wrong_words_are_refused(log: Path, word: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        read(ReadRequest(log=log, maps=[word]))
    assert caught.value.code == code
    assert caught.value.hint


def test_a_log_without_a_header(tmp_path: Path) -> None:
    run = made.run()
    body = made.text({"a": run["time_s"], "b": run["speed_mps"]}).split("\n", 1)[1]
    log = tmp_path / "bare.csv"
    log.write_text(body)
    with pytest.raises(InputError) as caught:
        read(ReadRequest(log=log))
    assert caught.value.code == "log_no_time"
    words = ["column 1=time_s:s", "column 2=speed_mps:m/s"]
    recording = read_log(log, typed(words)).recordings[0]
    np.testing.assert_array_equal(recording["speed_mps"].value, run["speed_mps"])


def test_nothing_to_write_down(log: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read(ReadRequest(log=log, save_mapping=tmp_path / "a.mapping.toml"))
    assert caught.value.code == "mapping_empty"
    assert not (tmp_path / "a.mapping.toml").exists()


def test_a_name_that_is_not_found_again_is_told(log: Path, tmp_path: Path) -> None:
    kept = tmp_path / "a.toml"
    answer = read(ReadRequest(log=log, maps=["Sensor 7=ignored"], save_mapping=kept))
    assert [one.code for one in answer.warnings] == ["mapping_name"]


def test_the_command(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(log)]) == 0
    said = capsys.readouterr().out
    assert "speed_mps" in said
    assert '--map "Brake [bar]=pressure_front_Pa:bar"' in said
    assert "no   the pressure share" in said
    assert main(["read", str(log), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["schema"] == "foreaft.read/1"
    schema = Envelope[ReadLog].model_json_schema(mode="serialization")
    jsonschema.validate(answer, schema)
    states = {
        one["original_name"]: one["state"] for one in answer["result"]["sessions"][0]["channels"]
    }
    assert states == {
        "Time [s]": "used",
        "Speed [km/h]": "used",
        "Brake [bar]": "asked",
        "Sensor 7": "ignored",
    }


def test_the_same_log_gives_the_same_answer(log: Path) -> None:
    one, other = read(ReadRequest(log=log)), read(ReadRequest(log=log))
    assert one == other


def test_without_the_library_for_mdf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.mf4"
    path.write_bytes(mdf_reader.MAGIC[0] + b"4.10    " + bytes(200))
    monkeypatch.setattr(mdf_reader, "find_spec", lambda name: None)
    with pytest.raises(MissingPart, match="asammdf"):
        read_log(path)


@pytest.mark.open_data
def test_a_log_of_a_real_lap(open_data: object) -> None:
    """Chrosniak, Ning, Behl 2024: an autonomous single-seater, GPL-3.0, read and not copied.

    Its README says 476 s at 25 Hz, a command for the brake, and wheels that differ by calibration.
    """
    path = open_data("laps/putnam_av21/Putnam_park2023_run4_2.csv")  # type: ignore[operator]
    recording = read_log(path).recordings[0]
    assert recording.duration_s == pytest.approx(476.0, abs=0.5)
    assert recording["speed_mps"].rate_hz == pytest.approx(25.0, rel=1e-3)
    used = {"position_x_m", "position_y_m", "heading_rad", "steer_rad", "yaw_rate_radps"}
    assert used <= set(recording)
    brake = next(one for one in recording.others if one.original_name.startswith("brake"))
    assert brake.state == "asked"
    assert brake.choices == ("pressure_front_Pa:kPa", "pressure_rear_Pa:kPa")
    assert "command" in brake.note
    assert sum("while rolling freely" in note for note in recording.notes) == 4
