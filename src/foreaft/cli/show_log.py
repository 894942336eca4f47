"""A log as text for people: its channels, what is asked, what was done, what it can say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

from foreaft.model.answers import (
    ChannelFace,
    DoneFace,
    Envelope,
    ReadChannel,
    ReadLog,
    ReadSession,
)
from foreaft.report.words import count_of

SELDOM_HZ: Final = 0.1
"""What is written less often than every ten seconds has no rate to speak of."""

MOST_NAMES: Final = 12
"""So many columns that were not recognised are named."""


def read(answer: Envelope[ReadLog]) -> str:
    """One table of channels per session, then what is asked, done, seen and possible."""
    log = answer.result
    first = log.sessions[0]
    lines = [f"{log.form}, {count_of(len(log.sessions), 'session')}, run {first.run.run_id}"]
    if log.mapping_file:
        lines.append(f"Columns as {log.mapping_file} says.")
    for session in log.sessions:
        lines += ["", *_session(session, first)]
    lines += _done(log.done, "Done to the log as a whole:")
    for file in answer.files:
        lines.append(f"Written: {file}")
    return "\n".join([*lines, ""])


def _session(session: ReadSession, first: ReadSession) -> list[str]:
    run = session.run
    minutes, seconds = divmod(round(run.duration_s), 60)
    lines = [f"Session {run.session} of {run.sessions}: {minutes} min {seconds} s"]
    used = [one for one in session.channels if one.state == "used"]
    asked = [one for one in session.channels if one.state == "asked"]
    if session is first or _names(used) != _names([c for c in first.channels if c.state == "used"]):
        lines += _table([("channel", "from column", "unit", "rate", ""), *map(_row, used)])
        lines += _asked(asked)
        lines += _ignored([one for one in session.channels if one.state == "ignored"])
        lines += _possible(session)
    else:
        lines.append("The same channels as in session 1.")
    lines += _done(session.done, "Done to a copy; the log is as it was:")
    if session.notes:
        lines += ["", "Seen, and left as it is:", *(f"  {note}" for note in session.notes)]
    return lines


def _table(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Columns of words, to the left but for the rate."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            cell.rjust(width) if i == 3 else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def _names(channels: Sequence[ChannelFace]) -> list[str]:
    return [one.original_name for one in channels]


def _row(one: ReadChannel) -> tuple[str, ...]:
    rate = "" if one.rate_hz <= 0.0 else f"{one.rate_hz:.4g} Hz"
    if 0.0 < one.rate_hz < SELDOM_HZ:
        rate = "seldom"
    note = "; ".join(filter(None, (_holds(one), one.note)))
    return (one.name or "", one.original_name, one.original_unit, rate, note)


def _holds(one: ReadChannel) -> str:
    """Least, middle and greatest value, where they were asked for."""
    held = one.preview
    if held is None or held.least is None:
        return ""
    unit = "" if held.unit in ("", "1") else f" {held.unit}"
    return f"{held.least:g} to {held.greatest:g}{unit}, in the middle {held.middle:g}"


def _asked(asked: list[ReadChannel]) -> list[str]:
    if not asked:
        return []
    lines = ["", "Asked, and not used until somebody says so with --map:"]
    for one in asked:
        lines.append(f"  {one.original_name}: {one.note}")
        lines += [f"    {held}" for held in [_holds(one)] if held]
        lines += [f'    --map "{one.original_name}={choice}"' for choice in one.choices[:6]]
    return lines


def _ignored(ignored: list[ChannelFace]) -> list[str]:
    """Names by reason, the first of them."""
    lines: list[str] = []
    for note, count in Counter(one.note for one in ignored).most_common(8):
        names = [one.original_name for one in ignored if one.note == note]
        more = f" and {count - MOST_NAMES} more" if count > MOST_NAMES else ""
        lines.append(f"  {note}: {', '.join(names[:MOST_NAMES])}{more}")
    return ["", "Left aside:", *lines] if lines else []


def _possible(session: ReadSession) -> list[str]:
    lines = ["", "What these channels can tell:"]
    for one in session.can_say:
        missing = "" if one.can else f", for want of {'; '.join(one.missing)}"
        lines.append(f"  {'yes' if one.can else 'no '}  {one.what}{missing}")
    return lines


def _done(done: list[DoneFace], head: str) -> list[str]:
    """One line per thing done, with the columns it was done to."""
    if not done:
        return []
    lines = ["", head]
    for what in dict.fromkeys(one.what for one in done):
        same = [one for one in done if one.what == what]
        names = [one.channel for one in same if one.channel]
        shown = f" ({', '.join(names[:4])}{', ...' if len(names) > 4 else ''})" if names else ""
        lines.append(f"  {what}: {max(one.count for one in same)}{shown}")
    return lines
