"""What was learnt, for people."""

from __future__ import annotations

from typing import Final

from foreaft.base.units import GRAVITY_MPS2, kmh_from_mps
from foreaft.cli.show import table
from foreaft.model.answers import Envelope
from foreaft.model.answers_learn import Learn, LearnCrossover, LearnLock, LearnParameter
from foreaft.report.words import capital

WORDS: Final = {
    "learned": "learned",
    "narrowed": "narrowed",
    "not_identifiable": "not to be told from these channels",
    "contradictory": "contradicts the file",
    "not_attempted": "not looked at",
}
SHOWN: Final = ("learned", "narrowed", "contradictory")
ALWAYS: Final = ("force_share_frac",)


def learn(answer: Envelope[Learn], every: bool) -> str:
    """Crossover first, then numbers, then what would settle the rest."""
    result = answer.result
    said = [crossover(result.crossover), lock(result.lock)]
    lines = [f"\n{result.car_name}", "", *(one for one in said if one), ""]
    told = [one for one in result.parameters if every or one.verdict in SHOWN]
    told += [one for one in result.parameters if one not in told and one.key in ALWAYS]
    rows = [_row(one) for one in told]
    head = ("number", "known before", "now, 90 %", "verdict")
    lines.append(table(head, rows))
    rest = [one for one in result.parameters if one not in told]
    for verdict in ("not_identifiable", "not_attempted"):
        names = [one.name for one in rest if one.verdict == verdict]
        if names:
            lines += ["", f"{WORDS[verdict].capitalize()}: {', '.join(names)}."]
    lines += _reasons(told)
    for log in result.logs:
        lead = log.brake_delay_s
        late = "" if lead is None or lead < 0.0 else f", brake leads by {lead:.3f} s"
        lines.append(
            f"{log.file}: {log.brakings_used} of {log.brakings} brakings used"
            f"{f', {log.plateaus} up to where a wheel let go' if log.plateaus else ''}{late}."
        )
    if result.next_test:
        lines.append(f"Next test: {result.next_test}.")
    if result.car_file:
        lines.append(f"Car file: {result.car_file}")
        lines.append(f"Plan with it: foreaft plan --car {result.car_file} --sheet zones.csv")
    return "\n".join(line.rstrip() for line in "\n".join(lines).split("\n"))


def crossover(one: LearnCrossover) -> str:
    """The crossover as one sentence."""
    if one.setting is None:
        return f"Crossover: cannot tell: {one.because}. To settle it: {one.would_settle}."
    where = (
        f"at {(one.decel_mps2 or 0.0) / GRAVITY_MPS2:.2f} g and "
        f"{kmh_from_mps(one.speed_mps or 0.0):.0f} km/h"
    )
    text = f"Both ends slip alike at {one.shown} {where} (90 %, {one.brakings} brakings)."
    if not one.inside:
        text += f" That is {one.because}. To settle it: {one.would_settle}."
    return text


def lock(one: LearnLock) -> str:
    """Where both ends lock together, or why that is not known, as a sentence or two."""
    if one.setting is None:
        return (
            "Where both ends lock together is not known, nor which lets go first: "
            f"{one.because}. To settle it: {one.would_settle}."
        )
    speed = f"{kmh_from_mps(one.speed_mps):.0f} km/h"
    return (
        f"In a straight stop from {speed} both ends lock together at {one.shown} (90 %). {one.text}"
    )


def _row(one: LearnParameter) -> tuple[str, ...]:
    return (one.name, one.before, one.now, WORDS[one.verdict])


def _reasons(told: list[LearnParameter]) -> list[str]:
    """Why what is wanted most was not learned, each reason once."""
    lines: list[str] = []
    for one in told:
        if one.verdict in ("not_identifiable", "contradictory"):
            text = f"{capital(one.name)}: {one.because}."
            if one.would_settle:
                text += f" To settle it: {one.would_settle}."
            lines.append(text)
    return ["", *lines, ""] if lines else [""]
