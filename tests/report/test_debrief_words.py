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
