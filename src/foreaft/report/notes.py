"""The small print of a briefing: whole sentences, each with how soon it may be left out.

A page has an end; what does not fit is left out by whole sentences, the least important first,
and stands in the web page.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, NamedTuple

from foreaft.model.answers import Matter, Plan
from foreaft.report import words

MATTERS_MOST: Final = 2
MORE: Final = "More in the web page."

LEADS: Final = ("How sure.", "Mind.", "What matters most.")


class Note(NamedTuple):
    """One sentence: the paragraph it belongs to, and its rank; 0 is never left out."""

    lead: str
    text: str
    rank: int


ENOUGH_RANK: Final = 3
"""Before a note of this rank or a lower one goes, the map is made smaller."""


def notes(plan: Plan, warnings: Sequence[str], anchor: str) -> list[Note]:
    """Gather everything worth saying below the table, in reading order."""
    how_sure, mind, matters = LEADS
    found = [Note(how_sure, text, rank) for text, rank in _sure(plan)]
    if anchor:
        found.append(Note(how_sure, anchor, 0))
    found += [
        Note(mind, words.sentence(text), (1, 2)[index] if index < 2 else 7 + index)
        for index, text in enumerate(warnings)
    ]
    found += [
        Note(matters, text, 4 + 2 * index) for index, text in enumerate(_matters(plan.matters))
    ]
    return found


def kept(all_notes: Sequence[Note], count: int) -> list[dict[str, Any]]:
    """Give the paragraphs that so many notes make, the most important of them."""
    order = sorted(range(len(all_notes)), key=lambda i: (all_notes[i].rank, i))
    stay = {*order[:count]}
    paragraphs = []
    for lead in LEADS:
        said = [one.text for i, one in enumerate(all_notes) if i in stay and one.lead == lead]
        if said:
            paragraphs.append({"lead": lead, "text": " ".join(said)})
    if len(stay) < len(all_notes):
        paragraphs.append({"lead": "", "text": MORE})
    return paragraphs


def count_to(all_notes: Sequence[Note], rank: int) -> int:
    """Count the notes of a rank and of all more important ones."""
    return sum(one.rank <= rank for one in all_notes)


def sure(plan: Plan) -> str:
    """Say how far the plan is to be trusted, in the order a driver would ask."""
    return " ".join(text for text, _ in _sure(plan))


def _sure(plan: Plan) -> list[tuple[str, int]]:
    known = [z.setting_sure_frac for z in plan.zones if z.setting_sure_frac is not None]
    unsure = sum(zone.advice == "cannot_tell" for zone in plan.zones)
    flat = sum(zone.advice == "no_matter" for zone in plan.zones)
    said = []
    if known:
        low, high = (words.format_percent(one) for one in (min(known), max(known)))
        span = f"{low} to {high}" if low != high else low
        text = f"Over {plan.samples} cars that fit what is known, each zone kept its setting in "
        said.append((f"{text}{span} of them.", 0))
    else:
        said.append(("Computed for one car only; how sure it is was not looked at.", 0))
    regret = plan.lap_setting.regret_s
    if regret is not None:
        loss = words.format_loss(regret.nominal).replace(" ", words.NBSP)
        text = f"Leaving the lap setting in costs {loss} a lap "
        said.append((f"{text}({regret.low:.3f} to {regret.high:.3f}).", 5))
    if unsure:
        said.append((f"Zones where what is known cannot tell: {unsure} (marked ?).", 0))
    if flat:
        said.append((f"Zones where the setting does not matter: {flat} (marked ~).", 3))
    return said


def _matters(matters: Sequence[Matter]) -> list[str]:
    """Say what moves the answer most and what would settle it; the same test is said once."""
    said, before = [], ""
    for one in matters[:MATTERS_MOST]:
        share = words.format_percent(one.share_of_spread_frac)
        if one.measurement == before:
            said.append(f"Next, and settled likewise: {one.label} ({share}).")
        else:
            text = f"{one.label} ({share} of the spread): {one.measurement}"
            said.append(words.sentence(text))
        before = one.measurement
    return said
