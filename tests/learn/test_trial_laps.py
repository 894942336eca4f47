"""The file of laps: what is read, and what a spoilt one gets."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from foreaft.base.errors import CannotTell, ForeaftError, InputError
from foreaft.files.templates import template
from foreaft.files.trial_laps import parse_laps, read_laps, write_laps
from foreaft.jobs.requests import TrialJudgeRequest
from foreaft.jobs.trial import judge

GOOD = """lap,stint,setting,keep,lap_time_s,z3_time_s,rear_events,note
1,1,56,no,,,,out-lap
2,1,56,yes,93.4,6.41,,
3,1,53,no,,,1,
4,1,53,yes,93.1,6.38,,
"""


def test_what_is_read() -> None:
    sheet = parse_laps(GOOD, "laps.csv")
    assert sheet.endpoints == ("lap_time_s", "z3_time_s")
    assert sheet.events == ("rear_events",)
    assert [row.keep for row in sheet.rows] == [False, True, False, True]
    assert sheet.rows[0].values == {}
    assert sheet.rows[3].values == {"lap_time_s": 93.1, "z3_time_s": 6.38}
    assert [row.events["rear_events"] for row in sheet.rows] == [0, 0, 1, 0]


def test_decimal_commas_with_semicolons() -> None:
    text = "lap;setting;lap_time_s\n1;56,5;93,4\n2;53;92\n"
    rows = parse_laps(text, "laps.csv").rows
    assert [(row.setting, row.values["lap_time_s"]) for row in rows] == [(56.5, 93.4), (53.0, 92.0)]


WRONG = [
    ("93.4,6.41", "NaN,6.41", 3, "lap_time_s"),
    ("93.4,6.41", "inf,6.41", 3, "lap_time_s"),
    ("93.4,6.41", "1:33.4,6.41", 3, "lap_time_s"),
    ("93.4,6.41", "93.4 s,6.41", 3, "lap_time_s"),
    ("93.4,6.41", "9e9,6.41", 3, "lap_time_s"),
    ("2,1,56,yes", "2,1,,yes", 3, "setting"),
    ("2,1,56,yes", "2,1,56,maybe", 3, "keep"),
    ("2,1,56,yes", "2,1,56,", 3, "keep"),
    ("2,1,56,yes", "1,1,56,yes", 3, "lap"),
    ("2,1,56,yes", "2.5,1,56,yes", 3, "lap"),
    ("2,1,56,yes", "-2,1,56,yes", 3, "lap"),
    ("4,1,53,yes", "4,0,53,yes", 5, "stint"),
    ("1,1,56,no", "1,2,56,no", 3, "stint"),
    ("3,1,53,no,,,1,", "3,1,53,no,,,-1,", 4, "rear_events"),
    ("3,1,53,no,,,1,", "3,1,53,no,,,once,", 4, "rear_events"),
    ("3,1,53,no,,,1,", "3,1,53,no,,,1", 4, "row"),
    ("lap,stint", "lap,stnt", 1, "header"),
    ("z3_time_s", "z3_time", 1, "header"),
    ("z3_time_s", "lap_time_s", 1, "header"),
    ("setting,keep", "keep,note2", 1, "header"),
    ("lap,stint,setting", "note,stint,setting", 1, "header"),
    ("4,1,53,yes", '4,1,"53,yes', 5, "row"),
]


@pytest.mark.parametrize(("old", "new", "line", "key"), WRONG, ids=[w[1] for w in WRONG])
def test_a_wrong_cell_is_named(old: str, new: str, line: int, key: str) -> None:
    assert GOOD.count(old) >= 1
    with pytest.raises(InputError) as raised:
        parse_laps(GOOD.replace(old, new, 1), "laps.csv")
    told = raised.value
    assert (told.file, told.line, told.key) == ("laps.csv", line, key)
    assert told.allowed
    assert told.hint


def test_more_events_than_passes() -> None:
    text = "lap,setting,passes,rear_events\n1,56,4,4\n2,56,4,5\n"
    with pytest.raises(InputError) as raised:
        parse_laps(text, "laps.csv")
    assert (raised.value.line, raised.value.key) == (3, "rear_events")


@pytest.mark.parametrize(
    "text", ["lap,setting\n", "# nothing\n#\n", "lap,setting\n" + "1,5\n" * 3000]
)
def test_no_laps_or_far_too_many(text: str) -> None:
    with pytest.raises(InputError):
        parse_laps(text, "laps.csv")


def test_a_filled_sheet_is_never_written_over(tmp_path: Path) -> None:
    file = tmp_path / "laps.csv"
    write_laps(file, ["lap", "setting"], [[1, 56]])
    with pytest.raises(InputError) as raised:
        write_laps(file, ["lap", "setting"], [[1, 57]])
    assert raised.value.code == "file_exists"
    assert read_laps(file).rows[0].setting == 56.0


def test_the_template_reads_and_cannot_tell_yet(tmp_path: Path) -> None:
    file = tmp_path / "laps.csv"
    file.write_text(template("trial-laps"), "utf-8")
    assert len(read_laps(file).rows) == 19
    with pytest.raises(CannotTell):
        judge(TrialJudgeRequest(laps=file))


def test_five_hundred_spoilt_files_end_in_an_answer_or_an_error_of_ours(tmp_path: Path) -> None:
    rng = random.Random(3)
    rows = [GOOD.splitlines()[0]]
    for lap in range(1, 17):
        setting = (56, 53, 53, 56)[lap // 2 % 4]
        cells = [lap, 1, setting, "yes", round(rng.gauss(93, 0.4), 2), round(rng.gauss(6, 0.1), 3)]
        rows.append(",".join(map(str, [*cells, rng.randint(0, 1), ""])))
    good, file, answers = "\n".join(rows) + "\n", tmp_path / "laps.csv", 0
    for _ in range(500):
        text = list(good)
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(text))
            text[at] = rng.choice(["", ",", ";", "\n", "-", "9", "e", "\t", '"', "ß", "no", " "])
        file.write_text("".join(text), "utf-8")
        try:
            judge(TrialJudgeRequest(laps=file))
            answers += 1
        except ForeaftError:
            pass
    assert 0 < answers < 500


def test_a_lap_time_with_a_colon_is_told_how_to_write_it() -> None:
    with pytest.raises(InputError) as caught:
        parse_laps("lap,setting,lap_time_s\n1,56,1:44.5\n", "laps.csv")
    assert "in seconds: 104.5" in str(caught.value.hint)


@pytest.mark.parametrize("cell", ["-3", "0"])
def test_a_time_is_above_zero(cell: str) -> None:
    with pytest.raises(InputError, match="above 0"):
        parse_laps(f"lap,setting,lap_time_s\n1,56,{cell}\n", "laps.csv")


def test_a_setting_that_is_not_safe_is_never_called_better(tmp_path: Path) -> None:
    rows = ["lap,setting,keep,z03_time_s,rear_events"]
    for i in range(24):  # in turn, with 53 faster by far more than the scatter
        rear = i % 4 in (1, 2)
        time_s = (4.9 if rear else 5.0) + 0.001 * (i % 5)
        rows.append(f"{i + 1},{53 if rear else 56},yes,{time_s:.3f},{int(rear and i < 3)}")
    file = tmp_path / "laps.csv"
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    told = judge(TrialJudgeRequest(laps=file)).result.verdict
    assert told is not None
    assert told.stopped[0].setting == 53.0
    assert told.comparisons[0].verdict == "difference"
    assert told.comparisons[0].better is None
    said = " ".join([told.comparisons[0].text, *told.summary])
    assert "53 is better" not in said
    assert "53 is not safe, whatever it gains" in told.comparisons[0].text


@pytest.mark.parametrize(
    "content",
    [
        b"Car,Halden GT\nTime,Speed\ns,km/h\n0.0,120\n",
        b"Time,Speed\n" + b"0.0,120\n" * 200_000,
        b"\x00\x01MDF" * 100,
    ],
)
def test_a_log_is_told_from_a_sheet_of_laps_and_what_comes_first(
    content: bytes, tmp_path: Path
) -> None:
    file = tmp_path / "log.csv"
    file.write_bytes(content)
    with pytest.raises(InputError) as refused:
        read_laps(file)
    assert refused.value.code == "trial_laps"
    assert "foreaft debrief" in (refused.value.hint or "")
