"""A recording for people."""

from __future__ import annotations

from foreaft.cli.show import table
from foreaft.model.answers import Envelope
from foreaft.model.answers_record import Record, RecordLap
from foreaft.report.words import format_setting

MOST_EVENTS = 3


def record(answer: Envelope[Record]) -> str:
    """One line per lap or stop, and where the log lies."""
    result = answer.result
    cells = lap_cells(result.laps)
    happened = "what happened".ljust(max((len(row[-1]) for row in cells), default=0))
    what = {"laps": "lap", "passes": "pass", "stops": "stop"}[result.programme]
    lines = [
        f"{result.car_name}, {result.driver_name}, {result.place_name}: made by a simulated car.",
        "",
        table((what, "setting", "begins at", "takes", happened), cells),
        "",
        f"Logger {result.logger}: {result.logger_meaning}.",
        f"{len(result.channels)} channels, {result.duration_s:.1f} s in "
        f"{result.sessions} session{'s' if result.sessions > 1 else ''}.",
        f"Log:   {result.log}",
        f"Truth: {result.truth}",
        f"Look into it with: foreaft read {result.log}",
    ]
    return "\n".join(line.rstrip() for line in "\n".join(lines).split("\n"))


def lap_cells(laps: list[RecordLap]) -> list[tuple[str, ...]]:
    """Cells of the laps; what happened stands to the left of its column."""
    told = [_events(lap) for lap in laps]
    width = max(map(len, told), default=0)
    return [
        (
            str(lap.number),
            ", ".join(format_setting(one, 0.1) for one in lap.settings),
            f"{lap.start_s:.1f} s" + (f" of session {lap.session}" if lap.session > 1 else ""),
            f"{lap.duration_s:.2f} s",
            text.ljust(width),
        )
        for lap, text in zip(laps, told, strict=True)
    ]


def _events(lap: RecordLap) -> str:
    told = list(dict.fromkeys(lap.events))
    more = f" and {len(told) - MOST_EVENTS} more" if len(told) > MOST_EVENTS else ""
    text = "; ".join(told[:MOST_EVENTS]) + more
    return text if lap.complete else "; ".join(one for one in (text, lap.ended) if one)
