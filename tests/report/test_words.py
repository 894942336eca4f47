"""Numbers and sentences as people read them."""

from __future__ import annotations

import itertools

import pytest

from foreaft.plan import programme
from foreaft.report import words
from foreaft.report.changes import base_setting, changes, codes
from report import fixture

FACTS = {
    "setting": 54.0,
    "step": 0.5,
    "limiting_axle": "rear",
    "limiting_phase": "releasing",
    "margin_frac": 0.11,
    "forward": (0.6, 0.004),
    "rearward": (-0.3, 0.018),
    "cause": "engine_braking",
}


@pytest.mark.parametrize(
    ("first", "step", "shown"),
    [
        (50.0, 1.0, ["50", "51", "52"]),
        (47.5, 1.0, ["47.5", "48.5", "49.5"]),
        (47.5, 0.5, ["47.5", "48.0", "48.5"]),
        (53.0, 0.25, ["53.00", "53.25", "53.50"]),
        (1.0, 2.0, ["1", "3", "5"]),
        (47.25, 0.5, ["47.25", "47.75", "48.25"]),
        (60.1, 0.1, ["60.1", "60.2", "60.3"]),
        (3.0, 0.001, ["3.000", "3.001", "3.002"]),
        (250.0, 50.0, ["250", "300", "350"]),
    ],
)
def test_every_setting_is_shown_exactly(first: float, step: float, shown: list[str]) -> None:
    assert [words.format_setting(first + i * step, step) for i in range(3)] == shown


def test_a_mean_of_settings_has_the_decimals_of_the_step() -> None:
    assert words.format_setting(163.0 / 3.0, 0.5) == "54.3"


def test_units_are_exact() -> None:
    # International yard and pound agreement, 1959: 1 ft = 0.3048 m, 1 mi = 1609.344 m, both exact.
    assert words.format_length(30.48, "imperial", 1) == "100.0 ft"
    assert words.format_length(30.48, "metric", 1) == "30.5 m"
    assert words.format_speed(44.704, "imperial") == "100 mph"
    assert words.format_speed(50.0, "metric") == "180 km/h"
    assert words.format_decel(9.80665) == "1.00 g"


def test_a_reason_says_end_place_step_feeling_and_cause() -> None:
    said = words.reason(**FACTS)
    assert "The rear lets go first, as the brakes are let off, at 11\u00a0% more pedal" in said
    assert "One step forward costs 0.6 m of braking, but next to no time" in said
    assert "one step rearward gains 0.3 m of braking but costs 0.02 s in all" in said
    assert "the tail comes round while the pedal comes up" in said
    assert words.CAUSES["engine_braking"] in said


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (None, "is not to be had"),
        ((0.0, 0.0), "changes next to nothing"),
        ((0.01, 0.02), "costs 0.02 s in all, but no braking distance"),
        ((0.4, -0.0099), "costs 0.4 m of braking, but next to no time"),
        ((-0.4, -0.0151), "gains 0.4 m of braking and 0.02 s in all"),
    ],
)
def test_what_a_step_costs(change: tuple[float, float] | None, said: str) -> None:
    assert f"One step forward {said};" in words.reason(**FACTS | {"forward": change})


def test_steps_that_are_worth_no_time_say_so_once() -> None:
    said = words.reason(**FACTS | {"forward": (0.4, 0.004), "rearward": (0.01, -0.009)})
    assert (
        "One step forward costs 0.4 m of braking, one step rearward brakes as late; neither is "
        "worth a hundredth of a second." in said
    )


def test_steps_are_told_in_the_users_unit() -> None:
    said = words.reason(**FACTS, units="imperial")
    assert "costs 2.0 ft of braking" in said  # 0.6 m / 0.3048
    assert " m " not in said


@pytest.mark.parametrize("cause", words.CAUSES)
@pytest.mark.parametrize(
    ("axle", "phase"),
    list(itertools.product(["front", "rear"], ["straight", "turning", "releasing"])),
)
def test_every_case_has_its_words(cause: str, axle: str, phase: str) -> None:
    facts = FACTS | {"cause": cause, "limiting_axle": axle, "limiting_phase": phase}
    said = words.reason(**facts)
    assert said.endswith(f"{words.CAUSES[cause]}.")
    assert words.feel(axle, phase) in said
    lead = "Nothing moves the number much" if cause == "flat" else "What moved the number most"
    assert f"{lead}: " in said
    assert words.CAUSES_SHORT[cause]
    assert words.FEELINGS_SHORT[axle, phase]


def test_an_unknown_cause_is_not_passed_over() -> None:
    with pytest.raises(KeyError, match="weather"):
        words.reason(**FACTS | {"cause": "weather"})


def test_feelings_of_the_two_ends_are_never_alike() -> None:
    assert len(set(words.FEELINGS.values())) == len(words.FEELINGS)
    assert len(set(words.FEELINGS_SHORT.values())) == len(words.FEELINGS_SHORT)


def test_cannot_tell_says_so_and_what_would_settle_it() -> None:
    said = words.reason(**FACTS, advice="cannot_tell", settles="three straight stops.")
    assert said.startswith("What is known cannot tell which setting is best here")
    assert "What would settle it: three straight stops." in said


@pytest.mark.parametrize(
    ("before", "why"),
    [
        (54.0, "54.0 saves a change."),
        (55.5, "54.0 is set here for what follows."),
        (57.0, "the 57.0 before it is not among them."),
    ],
)
def test_no_matter_names_the_band_its_meaning_and_why_this_setting(before: float, why: str) -> None:
    said = words.reason(**FACTS, advice="no_matter", flat=(52.0, 56.5), before=before)
    assert said.startswith(
        "From 52.0 to 56.5 the setting does not matter here: less than a hundredth of a second "
        f"between them, mistakes counted; {why}"
    )


def test_what_counts_as_next_to_no_time_is_what_the_plan_counts_as_equal() -> None:
    assert programme.FLAT_S == words.LITTLE_S == 0.01
    assert words.LITTLE == "a hundredth of a second"


def test_changes_that_gain_next_to_nothing_are_said_to() -> None:
    assert words.say_hardly_worth(0, 0.0, "51.5") == ""
    assert words.say_hardly_worth(2, 0.02, "51.5") == ""
    said = words.say_hardly_worth(2, 0.005, "51.5")
    assert said == "Changes gain next to nothing: 51.5 all lap is as good."
    assert words.say_hardly_worth(1, 0.005, "51.5").startswith("The one change gains next to")


def test_cautions_name_what_they_must() -> None:
    said = " ".join(words.cautions())
    for must in ("closed circuit", "rules", "qualified person", "rear wheels lock", "model"):
        assert must in said
    for must in ("Closed circuit", "spin", "rules"):
        assert must in words.caution_short()


def test_a_fact_sheet_follows_the_adjusters_direction() -> None:
    """Where the number counts towards the rear, one step forward is one number down."""
    plan = fixture.reversed_plan()
    zone = plan.zones[1]
    facts = words.facts_of(zone, plan.adjuster)
    lower = next(cell for cell in zone.field if cell.setting == zone.setting - 1.0)
    here = next(cell for cell in zone.field if cell.setting == zone.setting)
    assert facts["forward"][1] == pytest.approx((lower.cost_us - here.cost_us) / 1e6)


def test_towards() -> None:
    assert words.towards(2, "front") == "front"
    assert words.towards(-2, "front") == "rear"
    assert words.towards(2, "rear") == "rear"
    assert words.towards(-1, "rear") == "front"


def test_changes_wrap_round_the_start_line() -> None:
    plan = fixture.plan([53.0, 54.0, 54.0], ["T1", "T2", "T3"])
    first, second = changes(plan)
    assert (first.after, first.before, first.setting, first.axle) == (2, 0, 53.0, "rear")
    assert (second.after, second.before, second.setting, second.axle) == (0, 1, 54.0, "front")
    assert base_setting(plan) == 54.0
    assert changes(fixture.single_plan()) == []


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["T1", "T2"], ["T1", "T2"]),
        (["Turn 5", "Turn 12b"], ["T5", "T12b"]),
        (["Hairpin", "Old Mill"], ["HAIR", "OLDM"]),
        (["North Hairpin", "North Chicane"], ["NOHA", "NOCH"]),
        (["North Hairpin", "North Haven"], ["Z1", "Z2"]),
        (["東", "Weir"], ["Z1", "Z2"]),
        (["<>", "Weir"], ["Z1", "Z2"]),
        (["Tail", "Cut 2"], ["TAIL", "CUT2"]),
    ],
)
def test_codes(names: list[str], expected: list[str]) -> None:
    assert codes(fixture.plan([54.0] * len(names), names)) == expected
