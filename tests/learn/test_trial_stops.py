"""Straight stops before a trial: the gap they leave, and what they may not be made to say."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from foreaft.base.errors import CannotTell, InputError
from foreaft.cli import main
from foreaft.files.classes import demo_folder
from foreaft.files.trial_stops import read_stops
from foreaft.jobs.requests import TrialRequest, TrialStopAsk, TrialStopsRequest
from foreaft.jobs.trial import trial
from foreaft.learn.stops import Stop, crossover, driven_past, quarrel
from foreaft.model.answers_trial import TrialStops

SETTINGS = st.integers(48, 60).map(float)
STOPS = st.lists(st.tuples(SETTINGS, st.sampled_from(["front", "rear", "together", "none"])))


def judged(*stops: tuple[float, str], higher: str = "front") -> TrialStops:
    asks = [TrialStopAsk(setting=at, first=end) for at, end in stops]
    answer = trial(TrialRequest(stops=TrialStopsRequest(stops=asks, higher=higher)))
    assert answer.result.stops is not None
    return answer.result.stops


def explains(place: float, stops: list[Stop]) -> bool:
    """Whether a crossover at this place would give every stop as it went; front is more."""
    rules = {
        "front": lambda one: one.setting >= place,
        "rear": lambda one: one.setting <= place,
        "together": lambda one: one.setting == place,
        "none": lambda one: True,
    }
    return all(rules[one.first](one) for one in stops)


@given(STOPS)
def test_the_gap_is_every_place_that_explains_all_stops(told: list[tuple[float, str]]) -> None:
    """Against trying all places in quarters, from far behind to far in front."""
    stops = [Stop(at, end) for at, end in told]
    found = crossover(stops, forward_is_more=True)
    fits = [place for i in range(400) if explains(place := i / 4.0, stops)]
    assert bool(fits) == (found.finding != "contradictory")
    if fits:
        assert max(fits) == (99.75 if found.forward is None else found.forward)
        assert min(fits) == (0.0 if found.rear is None else found.rear)


@given(STOPS)
def test_an_adjuster_that_counts_the_other_way_changes_nothing(told: list) -> None:
    one = crossover([Stop(at, end) for at, end in told], forward_is_more=True)
    other = crossover([Stop(-at, end) for at, end in told], forward_is_more=False)
    mirrored = [None if at is None else -at for at in (other.forward, other.rear)]
    assert (one.finding, one.forward, one.rear) == (other.finding, *mirrored)


@given(SETTINGS, st.lists(SETTINGS, min_size=1))
def test_stops_of_a_car_with_one_crossover_enclose_it(place: float, tried: list[float]) -> None:
    place += 0.5  # between two settings, as it is on any car
    stops = [Stop(at, "front" if at > place else "rear") for at in tried]
    found = crossover(stops, forward_is_more=True)
    assert found.finding in ("between", "further_rear", "further_forward")
    assert found.forward is None or found.forward > place
    assert found.rear is None or found.rear < place


def test_three_stops_of_the_run_sheet() -> None:
    made = judged((56.0, "front"), (55.0, "front"), (54.0, "rear"))
    assert (made.finding, made.forward_setting, made.rear_setting) == ("between", 55.0, 54.0)
    assert made.anchor is not None
    assert (made.anchor.setting, made.anchor.first_to_let_go) == (55.0, "front")
    assert "between 55" in made.text
    assert "at 55 or further forward" in made.next


def test_the_safe_side_is_the_forward_one_whichever_way_the_number_counts() -> None:
    made = judged((2.0, "front"), (4.0, "rear"), higher="rear")
    assert (made.forward_setting, made.rear_setting) == (2.0, 4.0)
    assert "at 2 or further forward" in made.next


def test_stops_that_disagree_are_not_averaged() -> None:
    made = judged((56.0, "rear"), (54.0, "front"))
    assert made.finding == "contradictory"
    assert made.anchor is None
    assert made.contradict == [1, 2]
    assert "Stop 1 (56, a rear wheel first) and stop 2 (54, a front wheel first)" in made.text


@given(STOPS)
def test_the_stop_to_doubt_is_the_only_one_without_which_the_others_agree(told: list) -> None:
    """Against leaving out each stop in turn and trying all places."""
    stops = [Stop(at, end) for at, end in told]
    found = quarrel(stops, forward_is_more=True)

    def agree(some: list[Stop]) -> bool:
        return any(explains(i / 4.0, some) for i in range(400))

    assert (found is None) == agree(stops)
    if found is None:
        return
    cures = [i for i in range(len(stops)) if agree(stops[:i] + stops[i + 1 :])]
    assert found.doubted == (cures[0] + 1 if len(cures) == 1 else None)
    assert (found.between is not None) == (len(cures) == 2)
    assert agree([one for i, one in enumerate(stops, 1) if i not in found.stops])


@pytest.mark.parametrize(("first", "wrong"), [("front", 1), ("rear", 2)])
def test_one_more_stop_between_two_that_contradict_names_the_wrong_one(
    first: str, wrong: int
) -> None:
    two = ((57.0, "rear"), (55.0, "front"))
    assert "at about 56, settles it" in judged(*two).next
    made = judged(*two, (56.0, first))
    assert f"Without stop {wrong} the others agree" in made.next


def test_where_no_setting_lies_between_both_are_driven_again() -> None:
    asks = [TrialStopAsk(setting=57.0, first="rear"), TrialStopAsk(setting=56.5, first="front")]
    car = Path(str(demo_folder())) / "car.toml"
    made = trial(TrialRequest(stops=TrialStopsRequest(stops=asks, car=car))).result.stops
    assert made is not None
    assert "No setting lies between them: drive 57.0 once more, then 56.5" in made.next


@pytest.mark.parametrize(
    ("first", "finding", "word"),
    [("front", "further_rear", "single steps"), ("rear", "further_forward", "Do not drive 54")],
)
def test_one_end_only_leaves_the_other_side_open(first: str, finding: str, word: str) -> None:
    made = judged((54.0, first))
    assert made.finding == finding
    assert word in made.next


def test_stops_without_a_lock_up_tell_nothing() -> None:
    with pytest.raises(CannotTell, match="no wheel locked"):
        judged((54.0, "none"), (53.0, "none"))


def test_the_direction_of_the_number_must_be_known() -> None:
    stops = [TrialStopAsk(setting=54.0, first="front")]
    with pytest.raises(CannotTell, match="which way"):
        trial(TrialRequest(stops=TrialStopsRequest(stops=stops)))


def test_a_stop_driven_on_after_the_rear_locked_is_named() -> None:
    stops = [Stop(56.0, "front"), Stop(55.0, "rear"), Stop(54.0, "rear"), Stop(57.0, "front")]
    assert driven_past(stops, forward_is_more=True) == (3,)
    assert driven_past(stops[:2], forward_is_more=True) == ()


def test_a_sheet_of_stops_is_read_as_typed(tmp_path: Path, capsys: object) -> None:
    file = tmp_path / "stops.csv"
    file.write_text("setting;first;note\n# dry\n55,5;front;\n55,0;Rear;slid\n", "utf-8")
    assert read_stops(file) == [(55.5, "front"), (55.0, "rear")]
    assert main(["trial", "stops", str(file), "--higher", "front", "--json"]) == 0
    by_file = json.loads(capsys.readouterr().out)["result"]
    typed = ["--stop", "55.5", "front", "--stop", "55", "rear"]
    assert main(["trial", "stops", "--higher", "front", "--json", *typed]) == 0
    assert json.loads(capsys.readouterr().out)["result"] == by_file


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("setting\n55\n", "header"),
        ("setting,first,speed\n55,front,3\n", "header"),
        ("setting,first\n", "rows"),
        ("setting,first\nnan,front\n", "setting"),
        ("setting,first\n5e9,front\n", "setting"),
        ("setting,first\n55,left\n", "first"),
        ("setting,first\n55\n", "row"),
    ],
)
def test_a_sheet_that_says_something_else_is_refused(text: str, key: str, tmp_path: Path) -> None:
    file = tmp_path / "stops.csv"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as refused:
        read_stops(file)
    assert refused.value.key == key
    assert refused.value.code == "trial_stops"


@pytest.mark.parametrize(
    "typed",
    [[], ["--stop", "nan", "front"], ["--stop", "55", "left"], ["s.csv", "--stop", "55", "front"]],
)
def test_what_cannot_be_used_is_refused_with_a_hint(typed: list[str], capsys: object) -> None:
    assert main(["trial", "stops", "--higher", "front", *typed]) == 2
    assert "--stop 56 front" in capsys.readouterr().err
