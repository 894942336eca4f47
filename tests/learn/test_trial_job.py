"""The job: what the sheet promises, what the verdict says, and what it does to a plan."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pytest

from foreaft.base.errors import CannotTell, InputError
from foreaft.cli import main
from foreaft.files.classes import demo_folder
from foreaft.jobs.common import Notes
from foreaft.jobs.requests import (
    TrialDesignRequest,
    TrialEndpointAsk,
    TrialJudgeRequest,
    TrialRequest,
)
from foreaft.jobs.trial import _warn_of_way, design, judge, trial
from foreaft.jobs.trial_plan import _found, _warn_of_strangers
from foreaft.learn.trial import Stopped
from foreaft.model.answers_trial import TrialComparison, TrialDesign, TrialVerdict

Make = Callable[..., Path]

COLUMNS = ["lap", "stint", "setting", "keep", "lap_time_s", "z3_time_s", "z5_time_s"]
COLUMNS += ["front_events", "rear_events"]


def designed(**more: Any) -> TrialDesign:
    given: dict[str, Any] = {"settings": [53.0, 56.0], "higher": "front"} | more
    made = design(TrialDesignRequest(**given)).result.design
    assert made is not None
    return made


def judged(file: Path, **more: Any) -> TrialVerdict:
    made = judge(TrialJudgeRequest(laps=file, **more)).result.verdict
    assert made is not None
    return made


@pytest.fixture
def laps(tmp_path: Path) -> Make:
    """Give a maker of files of laps, driven as the sheet of eight pairs says."""

    def make(shift: float = 0.0, events: dict[int, int] | None = None, **how: Any) -> Path:
        ask = TrialEndpointAsk(name="x_s", difference=0.33, scatter_sd=0.2)
        sheet = designed(endpoints=[ask], stints=4)
        assert sheet.pairs == 8
        rng = np.random.default_rng(how.get("seed", 5))
        rows = [",".join(COLUMNS)]
        for run in sheet.sheet:
            times = rng.normal([93.0, 6.0, 4.0], [0.4, 0.05, 0.05]) - 0.05 * run.lap
            times[1] += shift if run.setting == 53.0 else 0.0
            kept = run.counts and run.lap not in how.get("lost", ())
            shown = [f"{one:.4f}" for one in times] if kept else ["", "", ""]
            setting = 56.0 if how.get("same") else run.setting
            cells = [run.lap, run.stint, setting, "yes" if kept else "no", *shown]
            rows.append(",".join(map(str, [*cells, 0, (events or {}).get(run.lap, 0)])))
        file = tmp_path / "laps.csv"
        file.write_text("\n".join(rows) + "\n", "utf-8")
        return file

    return make


# ---------------------------------------------------------------- design


def test_the_forward_setting_leads_whichever_way_the_number_counts() -> None:
    assert designed().settings == [56.0, 53.0]
    assert designed(higher="rear").settings == [53.0, 56.0]
    assert designed().order.startswith("56 53 53 56 | 53 56 56 53")


def test_without_the_way_it_counts_there_is_no_sheet() -> None:
    with pytest.raises(CannotTell):
        designed(higher=None)


def test_lap_time_is_told_honestly() -> None:
    [lap] = designed(driver="club").endpoints
    assert lap.name == "lap_time_s"
    assert lap.laps_needed is not None
    assert lap.laps_needed > 300
    assert "lap time will not see it" in lap.text


def test_as_many_laps_as_the_first_endpoint_needs_and_no_more() -> None:
    ask = TrialEndpointAsk(name="slip_difference_frac", difference=0.03, scatter_sd=0.012)
    made = designed(endpoints=[ask], stints=10)
    first = made.endpoints[0]
    assert first.primary
    assert made.pairs == first.pairs_needed
    assert first.power_frac >= 0.8
    counted = [run.setting for run in made.sheet if run.counts]
    assert counted.count(56.0) == counted.count(53.0) == made.pairs


def test_a_trial_that_is_too_short_says_so() -> None:
    ask = TrialEndpointAsk(name="z3_time_s", difference=0.01, scatter_sd=0.05)
    answer = design(
        TrialDesignRequest(settings=[56, 53], higher="front", endpoints=[ask], stints=2)
    )
    assert [one.code for one in answer.warnings] == ["trial_too_short"]


def test_a_novice_settles_for_two_laps() -> None:
    assert designed(driver="novice").settle_laps == 2
    assert designed(driver="pro").settle_laps == 1


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ({"settings": [56.0]}, "settings"),
        ({"settings": [56.0, 56.0]}, "settings"),
        ({"settings": [1.0, 2, 3, 4, 5, 6]}, "settings"),
        ({"stint_laps": 9}, "stint-laps"),
        ({"stints": 1}, "stints"),
        ({"endpoints": [TrialEndpointAsk(name="z3_time_s", difference=0.1)]}, "endpoint"),
        ({"endpoints": [TrialEndpointAsk(name="z3", difference=0.1, scatter_sd=1)]}, "endpoint"),
        ({"incidents": (0.2, 0.2)}, "incidents"),
    ],
)
def test_what_makes_no_trial_is_refused(more: dict[str, Any], key: str) -> None:
    with pytest.raises(InputError) as raised:
        designed(**more)
    assert raised.value.key == key
    assert raised.value.allowed


def test_the_scatter_may_come_from_laps(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    rows = ["lap,setting,z3_time_s"]
    rows += [f"{i},56,{6 - 0.01 * i + rng.normal(0, 0.06):.4f}" for i in range(1, 301)]
    file = tmp_path / "friday.csv"
    file.write_text("\n".join(rows), "utf-8")
    ask = TrialEndpointAsk(name="z3_time_s", difference=0.05)
    made = designed(endpoints=[ask], scatter_from=file)
    # Relative standard error of such an estimate from 300 laps: about 5 %.
    assert made.endpoints[0].scatter_sd == pytest.approx(0.06, rel=0.15)


def test_the_trial_is_the_one_or_the_other(laps: Make) -> None:
    plain = TrialDesignRequest(settings=[56, 53], higher="front")
    assert trial(TrialRequest(design=plain)) == design(plain)
    asked = TrialJudgeRequest(laps=laps())
    assert trial(TrialRequest(judge=asked)) == judge(asked)
    with pytest.raises(ValueError, match="one of design, judge and stops"):
        TrialRequest()
    with pytest.raises(ValueError, match="one of design, judge and stops"):
        TrialRequest(design=plain, judge=asked)


# ---------------------------------------------------------------- verdict


def test_a_large_effect_is_shown_in_its_zone_and_nowhere_else(laps: Make) -> None:
    made = judged(laps(shift=-0.3))
    by_name = {one.endpoint: one for one in made.comparisons}
    zone = by_name["z3_time_s"]
    assert zone.verdict == "difference"
    assert zone.better == 53.0
    assert zone.low is not None
    assert zone.high is not None
    assert zone.low <= -0.3 <= zone.high
    assert by_name["z5_time_s"].verdict == "no_difference_shown"
    assert by_name["lap_time_s"].verdict == "no_difference_shown"
    assert {one.counted_together for one in made.comparisons} == {3}
    assert "(Holm)" in made.summary[-1]


def test_nothing_shown_says_what_would_have_been(laps: Make) -> None:
    made = judged(laps(), primary="lap_time_s")
    assert made.summary[0] == "No difference shown between the settings."
    for one in made.comparisons:
        assert one.smallest_shown is not None
        assert one.smallest_shown > 0
        assert "would have shown" in one.text


def test_the_primary_stands_alone(laps: Make) -> None:
    made = judged(laps(), primary="z3_time_s")
    together = {one.endpoint: one.counted_together for one in made.comparisons}
    assert together == {"z3_time_s": 1, "lap_time_s": 2, "z5_time_s": 2}
    [first] = [one for one in made.comparisons if one.primary]
    assert first.p == first.p_adjusted


def test_a_pool_is_the_mean_of_its_zones(laps: Make) -> None:
    made = judged(laps(shift=-0.3), pools={"deep_time_s": ["z3_time_s", "z5_time_s"]})
    effects = {one.endpoint: one.effect for one in made.comparisons}
    z3, z5 = effects["z3_time_s"], effects["z5_time_s"]
    assert z3 is not None
    assert z5 is not None
    assert effects["deep_time_s"] == pytest.approx((z3 + z5) / 2)


def test_lost_laps_cost_their_pairs_only(laps: Make) -> None:
    whole, short = judged(laps(shift=-0.3)), judged(laps(shift=-0.3, lost={3, 24}))
    assert whole.comparisons[0].pairs == 8
    assert short.comparisons[0].pairs == 6
    assert short.laps_counted == whole.laps_counted - 2
    assert {one.endpoint: one.verdict for one in short.comparisons}["z3_time_s"] == "difference"


def test_against_the_other_setting_the_sign_turns(laps: Make) -> None:
    file = laps(shift=-0.3)
    one, other = judged(file), judged(file, against=53.0)
    for a, b in zip(one.comparisons, other.comparisons, strict=True):
        assert a.effect == pytest.approx(-(b.effect or 0.0), rel=1e-9)
        assert a.p == pytest.approx(b.p, rel=1e-9)


def test_all_the_same_setting_cannot_tell(laps: Make) -> None:
    with pytest.raises(CannotTell, match="all laps were driven at 56"):
        judged(laps(same=True))


@pytest.mark.parametrize(
    ("order", "said"),
    [
        ("AB", "cannot tell from 1 pair of"),
        ("ABBA", "cannot tell from 2 pairs"),
        ("AAAABBBB", "cannot tell from 1 pair of"),
        ("ABABABAB", "same order"),
    ],
)
def test_a_tiny_or_badly_ordered_trial_cannot_tell(order: str, said: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    rows = ["lap,setting,keep,lap_time_s"]
    rows += [
        f"{i},{56 if a == 'A' else 53},yes,{rng.normal(93):.3f}" for i, a in enumerate(order, 1)
    ]
    file = tmp_path / "laps.csv"
    file.write_text("\n".join(rows), "utf-8")
    [one] = judged(file).comparisons
    assert one.verdict == "cannot_tell"
    assert said in one.text
    assert one.effect is None


def test_rounded_away_scatter_cannot_tell(tmp_path: Path) -> None:
    rows = ["lap,setting,keep,lap_time_s"]
    rows += [f"{i},{56 if a == 'A' else 53},yes,93.0" for i, a in enumerate("ABBABAAB", 1)]
    file = tmp_path / "laps.csv"
    file.write_text("\n".join(rows), "utf-8")
    assert "no scatter" in judged(file).comparisons[0].text


def test_without_keep_the_first_lap_after_a_change_is_dropped(tmp_path: Path) -> None:
    rows = ["lap,setting,lap_time_s"]
    rows += [f"{i},{56 if a == 'A' else 53},{90 + i % 3}" for i, a in enumerate("AABBBAAABBB", 1)]
    file = tmp_path / "laps.csv"
    file.write_text("\n".join(rows), "utf-8")
    assert judged(file).laps_counted == 11 - 4
    assert judged(file, settle_laps=0).laps_counted == 11


def test_laps_none_of_which_ever_settled_say_so(tmp_path: Path) -> None:
    rows = ["lap,setting,lap_time_s"]
    rows += [f"{i},{56 if i % 2 else 53},{90 + i % 3}" for i in range(1, 9)]
    file = tmp_path / "laps.csv"
    file.write_text("\n".join(rows), "utf-8")
    with pytest.raises(CannotTell, match="first after a change"):
        judged(file)


def test_laps_that_are_not_in_the_file_have_settled(tmp_path: Path) -> None:
    file = tmp_path / "laps.csv"
    file.write_text("lap,setting,lap_time_s\n3,56,93\n5,53,92\n6,56,92\n", "utf-8")
    assert judged(file).laps_counted == 2


def test_a_column_of_no_zone_of_the_plan_is_named() -> None:
    class Zone:
        zone_id = "z02"

    class Plan:
        zones: ClassVar = [Zone()]

    notes = Notes()
    strange = comparison("no_difference_shown", None)
    ours = strange.model_copy(update={"endpoint": "z02_time_s"})
    _warn_of_strangers(Plan(), [strange, ours], notes)  # type: ignore[arg-type]
    [one] = notes.warnings
    assert "z3_time_s" in one.text
    assert "z02_time_s" not in one.text


def test_two_rear_events_end_a_setting(laps: Make) -> None:
    made = judged(laps(shift=-0.3, events={5: 1, 13: 1}))
    [over] = made.stopped
    assert (over.setting, over.at_lap) == (53.0, 13)
    assert over.laps_after
    assert made.summary[0].startswith("53.0 is not safe")
    assert judged(laps(events={5: 1})).stopped == []
    assert judged(laps(events={5: 1, 8: 1})).stopped == [], "one at each setting"


def test_incidents_are_counted_on_all_laps(laps: Make) -> None:
    file = laps(events={4: 1, 5: 1})
    rates = {(one.kind, one.setting): one for one in judged(file).incidents}
    assert rates["rear_events", 53.0].events == 2
    assert rates["rear_events", 56.0].events == 0


def test_incidents_in_the_times_and_out_of_them_are_told_apart(laps: Make) -> None:
    """Laps 4 and 5 are the first after a change and a lap that counts; 9 was struck out."""

    def codes(**how: Any) -> set[str]:
        told = judge(TrialJudgeRequest(laps=laps(**how)))
        return {one.code for one in told.warnings}

    assert codes(events={4: 1}) == set(), "its time would not count anyway"
    assert codes(events={5: 1}) == {"incident_laps_counted"}
    assert codes(events={5: 1}, lost={5}) == {"incident_laps_left_out"}


def test_laps_that_count_right_after_a_change_are_named(tmp_path: Path) -> None:
    file = tmp_path / "laps.csv"
    file.write_text("lap,setting,keep,lap_time_s\n1,56,yes,93\n2,53,yes,92\n", "utf-8")
    codes = {one.code for one in judge(TrialJudgeRequest(laps=file)).warnings}
    assert codes == {"unsettled_laps", "stop_rule_unchecked"}


# ---------------------------------------------------------------- the plan


def comparison(verdict: str, better: float | None) -> TrialComparison:
    given = dict.fromkeys(TrialComparison.model_fields)
    given |= {"endpoint": "z3_time_s", "words": "Z3 time", "shown": [], "unit": "s"}
    given |= {"primary": False, "setting": 53.0}
    given |= {"against": 56.0, "pairs": 8, "counted_together": 1, "text": ""}
    return TrialComparison(**(given | {"verdict": verdict, "better": better}))


class _Adjuster:
    step, higher_means = 1.0, "front"


class _Plan:
    adjuster = _Adjuster()


@pytest.mark.parametrize(
    ("planned", "told", "over", "finding"),
    [
        (53.0, [("difference", 53.0)], [], "supported"),
        (56.0, [("difference", 53.0)], [], "contradicted"),
        (53.0, [("difference", 53.0), ("difference", 56.0)], [], "mixed"),
        (53.0, [("no_difference_shown", None)], [], "untouched"),
        (54.0, [("difference", 53.0)], [], "untouched"),
        (53.0, [("difference", 53.0)], [53.0], "contradicted"),
        (52.0, [], [53.0], "contradicted"),
        (56.0, [], [53.0], "untouched"),
    ],
)
def test_what_a_trial_does_to_a_planned_setting(
    planned: float, told: list[tuple[str, float | None]], over: list[float], finding: str
) -> None:
    found, why = _found(
        _Plan(),  # type: ignore[arg-type]
        planned,
        [comparison(*one) for one in told],
        [Stopped(one, 9, ()) for one in over],
    )
    assert found == finding
    assert why


# ---------------------------------------------------------------- the command line


def test_from_sheet_to_verdict_on_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "laps.csv"
    typed = ["trial", "design", "--settings", "56", "53", "--higher", "front", "--out", str(file)]
    assert main(typed) == 0
    assert "56 53 53 56 | 53 56 56 53" in capsys.readouterr().out
    assert main(typed) == 2, "the sheet may be filled in already"
    assert main(["trial", "judge", str(file)]) == 4
    capsys.readouterr()
    assert main(["trial", "judge", str(file), "--json"]) == 4
    assert json.loads(capsys.readouterr().out)["code"] == "cannot_tell"


def test_json_and_words_of_a_verdict(laps: Make, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(laps(shift=-0.3))
    assert main(["trial", "judge", file, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["schema"] == "foreaft.trial/1"
    assert answer["result"]["design"] is None
    assert main(["trial", "judge", file, "--primary", "z3_time_s"]) == 0
    said = capsys.readouterr().out
    assert "53.0 is better" in said
    assert said.count("This is what was named before driving.") == 1, "once, not again below"
    assert "no difference shown" in said
    # Words, not the names of columns.
    assert "Z3 time, 53.0 against 56.0" in said
    assert not re.search(r"[a-z0-9]_[a-z]", said.replace(file, ""))
    assert main(["trial", "judge", file, "--primary", "z9_time_s"]) == 2


@pytest.mark.parametrize(
    "typed",
    [
        "design --settings 56 53 --higher front --endpoint",
        "design --settings 56 53 --higher front --endpoint z3_time_s x",
        "design --settings 56 53 --higher front --endpoint z3_time_s -1 2",
        "design --settings 56 53 --higher front --endpoint z3_time_s 1 2 3",
        "design --settings 56 53 --higher front --level 0.9",
        "design --settings 56 53 --higher front --power nan",
        "design --settings 56 53 --higher front --incidents 0 1",
        "design --settings 56 nan --higher front",
        "design --higher front",
        "judge",
        "judge no-such-file.csv",
        "judge laps.csv --pool a_s b_s --pool a_s c_s",
        "weigh",
        "",
    ],
)
def test_bad_words_are_refused(typed: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trial", *typed.split()]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "hint" in said.err


@pytest.mark.slow
def test_against_a_plan_on_the_command_line(
    laps: Make, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = str(demo_folder() / "sheet.csv")
    car = str(demo_folder() / "car.toml")
    assert main(["plan", "--car", car, "--sheet", sheet, "--samples", "0", "--json"]) == 0
    plan = tmp_path / "plan.json"
    plan.write_text(capsys.readouterr().out, "utf-8")
    zones = json.loads(plan.read_text("utf-8"))["result"]["zones"]
    assert main(["trial", "judge", str(laps()), "--plan", str(plan), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    told = answer["result"]["verdict"]["plan"]
    assert [one["zone_id"] for one in told] == [*(zone["zone_id"] for zone in zones), None]
    assert {one["finding"] for one in told} == {"untouched"}
    assert main(["trial", "judge", str(laps()), "--plan", str(laps())]) == 2


# ---------------------------------------------------------------- how settings are shown


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        (("56", "53"), "53 against 56"),
        (("56", "53.5"), "53.5 against 56.0"),
        (("56.0", "53.0"), "53.0 against 56.0"),
        (("56,0", "53,5"), "53.5 against 56.0"),
    ],
)
def test_settings_are_shown_as_they_were_typed(
    typed: tuple[str, str], shown: str, tmp_path: Path
) -> None:
    rng = np.random.default_rng(2)
    rows = ["lap;setting;keep;z3_time_s"]
    rows += [
        f"{i};{typed[a == 'B']};yes;{rng.normal(6, 0.1) + (a == 'B'):.3f}"
        for i, a in enumerate("ABBABAAB" * 2, 1)
    ]
    file = tmp_path / "laps.csv"
    file.write_text("\n".join(rows), "utf-8")
    [one] = judged(file).comparisons
    assert one.text.startswith(f"Z3 time, {shown}: +")


def test_the_run_sheet_shows_every_setting_alike(tmp_path: Path) -> None:
    assert designed(settings=[54.0, 51.5]).order.startswith("54.0 51.5 51.5 54.0 |")
    assert "at 54.0," in " ".join(designed(settings=[54.0, 51.5]).rules)


# ---------------------------------------------------------------- slip


def slips(tmp_path: Path, front_does_more_at: float) -> Path:
    rng = np.random.default_rng(4)
    rows = ["lap,setting,keep,lap_time_s,slip_difference_frac"]
    for i, a in enumerate("ABBABAAB" * 2, 1):
        setting = 56.0 if a == "A" else 53.0
        slip = rng.normal(0.004 if setting == front_does_more_at else 0.0, 0.001)
        rows.append(f"{i},{setting:g},yes,{rng.normal(90, 0.4):.3f},{slip:.5f}")
    file = tmp_path / "laps.csv"
    file.write_text("\n".join(rows), "utf-8")
    return file


@pytest.mark.parametrize(("forward", "sign", "way"), [(56.0, -1.0, "front"), (53.0, 1.0, "rear")])
def test_slip_names_the_setting_at_which_the_front_does_more(
    forward: float, sign: float, way: str, tmp_path: Path
) -> None:
    made = judged(slips(tmp_path, forward), primary="slip_difference_frac")
    [one] = [one for one in made.comparisons if one.primary]
    assert one.verdict == "difference"
    assert one.effect is not None
    assert one.effect * sign > 0.0
    assert one.better is None
    assert (
        f"The front does more of the braking at {forward:g}: a bigger number means more {way}."
        in one.text
    )
    # Slip is no gain: what the times did not show is said in the same breath.
    assert any("Which of them is better was not shown" in said for said in made.summary)


def test_slip_that_moves_against_the_plan_warns_of_the_way_the_number_counts(
    tmp_path: Path,
) -> None:
    class Plan:
        adjuster = _Adjuster()

    def codes(forward: float) -> set[str]:
        notes = Notes()
        told = judged(slips(tmp_path, forward)).comparisons
        _warn_of_way(told, Plan(), notes)  # type: ignore[arg-type]
        return {one.code for one in notes.warnings}

    assert codes(56.0) == set()
    assert codes(53.0) == {"counts_other_way"}
