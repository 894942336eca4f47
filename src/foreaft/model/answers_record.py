"""What the job ``record`` answers."""

from __future__ import annotations

from typing import Literal

from foreaft.model.answers import Answer


class RecordLap(Answer):
    """One lap, or one straight stop, as it was driven and recorded; times on the log's clock."""

    number: int
    session: int
    settings: list[float]
    """Those it was driven with, in order, each change once."""
    start_s: float
    duration_s: float
    complete: bool
    ended: str
    events: list[str]


class Record(Answer):
    """Result of the job ``record``.

    What is in the log beside its laps stands in the truth file: see docs/how-to/record.md.
    """

    car_name: str
    place_name: str
    driver_name: str
    programme: Literal["laps", "passes", "stops"]
    logger: str
    logger_meaning: str
    format: Literal["csv", "long-csv", "parquet", "mdf4"]
    log: str
    truth: str
    sessions: int
    duration_s: float
    channels: list[str]
    rows: int
    laps: list[RecordLap]
