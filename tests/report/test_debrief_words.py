"""The sentences and tables of a debrief: one unit for one thing, and nothing told of one pass."""

from __future__ import annotations

import re

from foreaft.laps.advice import Difference, Finding
from foreaft.model.answers_debrief import AgainstOther, AgainstPlan, DebriefZone
from foreaft.report import debrief_words as words

ZONE = DebriefZone(
    zone_id="z06",
    name="Mill",
    direction="left",
    brake_s_m=2000.0,
    turn_in_s_m=2080.0,
    apex_s_m=2120.0,
    apex_radius_m=60.0,
    passes=8,
    best_lap_id="L07",
    lost_usual_s=0.1,
    scatter=[],
    release_scatter_frac=None,
    two_steps_frac=None,
    technique_first=None,
    against_plan=None,
    against_other=[],
)


def changed(**what: object) -> DebriefZone:
    """The zone with other values."""
    return DebriefZone.model_validate({**ZONE.model_dump(), **what})


def test_deceleration_is_told_in_g_as_in_the_table() -> None:
    said = words.difference("peak_decel_mps2", 9.80665, 2 * 9.80665, "metric")
    assert said == "braked harder (2.00 against 1.00 g at the most)"
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


def found(slower_s: float = 0.12, wrong_s: float = 0.0, **more: object) -> Finding:
    plain = {"against": "own", "best_lap_id": "L07", "differences": (), "events": ()}
    return Finding("z06", slower_s, wrong_s, **{**plain, **more})  # type: ignore[arg-type]


def work(count: int, passes: int) -> str:
    one = found(events=(("unused", count, passes),))
    return words.work_on("Mill", one, None, technique_first=None, units="metric")


def test_what_mistakes_cost_is_not_told_as_time_between_two_passes() -> None:
    """0.25 s of it are a table's, 0.07 s were measured: each is told as what it is."""
    faster = (Difference("brake_s_m", 100.0, 106.0),)
    one = found(0.07, 0.25, events=(("wide", 5, 6),), differences=faster)
    said = words.work_on("Mill", one, None, None, "metric")
    assert "0.25 s a lap, by rule of thumb" in said
    assert "0.07 s slower than your best, L07" in said
    said = words.work_on("Mill", found(0.0, 0.25, events=one.events), None, None, "metric")
    assert "slower" not in said
    assert "In that one" not in said
    said = words.work_on("Mill", found(0.30, 0.25, differences=faster), None, None, "metric")
    assert "0.30 s slower than your best, L07. In that one you braked 6" in said
    assert "0.25" not in said


def test_the_other_driver_is_named() -> None:
    said = words.work_on("Mill", found(against="other"), "Ben", None, "metric")
    assert "slower than Ben's best, L07" in said


def test_what_happened_in_one_of_two_passes_is_told_and_not_corrected() -> None:
    said = work(1, 2)
    assert "In 1 of 2 passes braking was left unused." in said
    assert words.REMEDY["unused"] not in said
    assert "comes again" in said
    assert words.REMEDY["unused"] not in work(2, 2)
    assert words.REMEDY["unused"] not in work(1, 9)
    assert words.REMEDY["unused"] in work(2, 3)


def test_the_remedy_is_of_what_is_a_habit() -> None:
    one = found(events=(("lock_up", 1, 6), ("unused", 4, 6)))
    said = words.work_on("Mill", one, None, None, "metric")
    assert words.REMEDY["unused"] in said
    assert words.REMEDY["lock_up"] not in said


def test_few_passes_get_no_percentage_for_what_is_measured_against_others() -> None:
    assert "%" not in words.sure_of("unused", [0.99], 1)
    assert words.sure_of("unused", [0.9, 0.8, 1.0], 3).startswith("90")
    assert words.sure_of("lock_up", [0.9], 1).startswith("90")


def planned(
    later_m: float, give_or_take_m: float | None, driven: float | None = 51.5
) -> AgainstPlan:
    return AgainstPlan(
        setting=53.5,
        setting_driven=driven,
        brake_s_m=2010.0,
        later_m=later_m,
        give_or_take_m=give_or_take_m,
        approach_mps=60.0,
        approach_driven_mps=58.0,
        depth_frac=0.8,
        depth_driven_frac=0.78,
    )


def test_nothing_is_nought_metres_earlier() -> None:
    assert words.later_than_planned(planned(-0.3, None), "metric") == "as planned"
    said = words.later_than_planned(planned(-8.2, 2.4), "metric").replace("\u00a0", " ")
    assert said == "8 m earlier ± 2"


def test_zones_off_the_plan_are_named_and_those_within_the_scatter_are_not() -> None:
    zones = [
        changed(against_plan=planned(-8.0, 3.0)),
        changed(name="Weir", against_plan=planned(5.0, 2.0, 53.5)),
        changed(name="Fold", against_plan=planned(2.0, 4.0, 53.5)),
    ]
    said = words.against_plan(zones)
    assert "Not at the planned setting: Mill (51.5 driven, 53.5 planned)." in said
    assert "Earlier on the brake than planned, beyond the scatter: Mill." in said
    assert "Later than planned, beyond the scatter: Weir." in said
    assert "Fold" not in said
    assert "Every zone was driven at its planned setting." in words.against_plan(zones[1:])


def test_what_is_so_in_every_zone_is_said_once() -> None:
    names = ("Mill", "Weir", "Fold", "Last", "Lintel")
    zones = [changed(name=name, against_plan=planned(-8.0, 3.0)) for name in names]
    said = words.against_plan(zones)
    assert "Not at the planned setting: 51.5 driven in every zone, planned 53.5." in said
    assert "Earlier on the brake than planned, beyond the scatter: every zone." in said
    assert not any(name in said for name in names)
    zones[0] = changed(name="Mill", against_plan=planned(-8.0, 3.0, 53.5))
    assert "Not at the planned setting: Weir (51.5 driven" in words.against_plan(zones)


def against(measure: str, mine: float, theirs: float, sure: bool = True) -> AgainstOther:
    return AgainstOther(
        measure=measure,
        mine=mine,
        theirs=theirs,
        difference=mine - theirs,
        give_or_take=0.01,
        sure=sure,
    )


def test_two_drivers_are_one_table_of_what_differs() -> None:
    zones = [
        changed(
            against_other=[
                against("brake_s_m", 2000.0, 2011.0),
                against("time_s", 6.3, 6.0),
                against("depth_frac", 0.8, 0.5, sure=False),
            ]
        ),
        changed(name="Weir", against_other=[against("time_s", 4.5, 4.6)]),
    ]
    assert words.columns_of(zones, "metric") == ["time_s", "brake_s_m"]
    shown = [words.difference_of(zones[0], one, "metric") for one in ("time_s", "brake_s_m")]
    assert [one.replace("\u00a0", " ") for one in shown] == ["+0.300 s", "11 m earlier"]
    assert words.difference_of(zones[1], "brake_s_m", "metric") == ""
    said = words.against_other(zones, "Ben", True)
    assert "0.20 s a lap behind Ben, most in Mill (0.30 s)" in said
    assert words.against_other(zones, None, None) == ""


def test_evenness_is_told_from_three_passes_on() -> None:
    def one(name: str, sd: float, passes: int) -> DebriefZone:
        scatter = [{"measure": "brake_s_m", "median": 2000.0, "sd": sd, "passes": passes}]
        return changed(name=name, scatter=scatter)

    said = words.evenness([one("Mill", 7.0, 6), one("Weir", 3.0, 6), one("Fold", 4.0, 6)], "metric")
    assert "4.0" in said
    assert re.search(r"least in Weir \(± 3.0.m\), most in Mill \(± 7.0.m\)", said)
    assert words.evenness([one("Mill", 7.0, 2), one("Weir", 3.0, 2)], "metric") == ""
