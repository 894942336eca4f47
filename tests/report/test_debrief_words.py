"""The sentences and tables of a debrief: one unit for one thing, and nothing told of one pass."""

from __future__ import annotations

import re

from foreaft.report import debrief_words as words


def test_deceleration_is_told_in_g_as_in_the_table() -> None:
    said = words.difference("peak_decel_mps2", 9.80665, 2 * 9.80665, "metric")
    assert said == "pressed harder (2.00 against 1.00 g at the most)"
    assert words.show("peak_decel_mps2", 9.80665, "metric") == "1.00 g"
    assert words.show("mfdd_mps2", 4.903325, "imperial") == "0.50 g"


def test_a_mark_is_that_of_the_pictures() -> None:
    assert words.mark_of("wide", "front") == "△"
    assert words.mark_of("lock_up", "front") == "▲"
    assert words.mark_of("lock_up", "rear") == "▼"
    assert words.mark_of("rotation", "rear") == "▼"
    assert words.mark_of("double_stab", None) == "○"
    assert words.mark_of("unused", None) == ""


def test_one_lap_is_no_laps() -> None:
    assert words.full_laps(1) == "one full lap"
    assert not re.search(r"\b1 full laps", words.full_laps(1))
    assert words.full_laps(0) == "no full lap"
    assert words.full_laps(2) == "2 full laps"


def test_what_reads_the_same_is_no_difference_to_show() -> None:
    """42.30 and 42.60 m/s are 95 mph, both: 94.6 and 95.3 rounded."""
    assert not words.reads_differently("min_speed_mps", 42.30, 42.60, "imperial")
    assert words.reads_differently("min_speed_mps", 42.30, 43.60, "imperial")


def work(count: int, passes: int) -> str:
    return words.work_on(
        "Mill", 0.12, "own", [], [("unused", count, passes)], technique_first=None, units="metric"
    )


def test_what_happened_in_one_of_two_passes_is_told_and_not_corrected() -> None:
    said = work(1, 2)
    assert "In 1 of 2 passes braking was left unused." in said
    assert words.REMEDY["unused"] not in said
    assert "comes again" in said
    assert words.REMEDY["unused"] not in work(2, 2)
    assert words.REMEDY["unused"] not in work(1, 9)
    assert words.REMEDY["unused"] in work(2, 3)


def test_the_remedy_is_of_what_is_a_habit() -> None:
    events = [("lock_up", 1, 6), ("unused", 4, 6)]
    said = words.work_on("Mill", 0.12, "own", [], events, None, "metric")
    assert words.REMEDY["unused"] in said
    assert words.REMEDY["lock_up"] not in said


def test_few_passes_get_no_percentage_for_what_is_measured_against_others() -> None:
    assert "%" not in words.sure_of("unused", [0.99], 1)
    assert words.sure_of("unused", [0.9, 0.8, 1.0], 3).startswith("90")
    assert words.sure_of("lock_up", [0.9], 1).startswith("90")
