"""Read a log of any kind into recordings; the one door to everything else in this folder."""

from __future__ import annotations

import hashlib
import stat
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Event
from typing import Final, NamedTuple

import numpy as np

from foreaft.base.errors import InputError
from foreaft.logs import clean, evidence
from foreaft.logs.clock import Rows, Session, sessions_of
from foreaft.logs.csv_reader import read_csv
from foreaft.logs.dialect import HEAD_BYTES, not_text
from foreaft.logs.mapping import (
    LogMapping,
    beside,
    check_columns,
    columns_key,
    fitting,
    joined,
)
from foreaft.logs.mdf_reader import MAGIC as MDF_MAGIC
from foreaft.logs.mdf_reader import read_mdf
from foreaft.logs.meaning import NO_NUMBERS, Judged, judge, settle_minutes, used
from foreaft.logs.parquet_reader import MAGIC as PARQUET_MAGIC
from foreaft.logs.parquet_reader import read_parquet
from foreaft.logs.raw import Column, Group, RawLog
from foreaft.logs.recording import Channel, Done, Recording
from foreaft.logs.time_base import clocks_of

MAX_BYTES: Final = 4 * 1024**3
"""A larger file is refused before it is read: no log of one day is."""

OTHER_KINDS: Final = (
    (b"PK\x03\x04", "a ZIP archive or a spreadsheet", "Unpack it, or save the sheet as CSV."),
    (b"\x1f\x8b", "a gzip archive", "Unpack it first."),
    (b"7z\xbc\xaf", "a 7z archive", "Unpack it first."),
    (b"BZh", "a bzip2 archive", "Unpack it first."),
    (b"\xfd7zXZ", "an xz archive", "Unpack it first."),
    (b"\x28\xb5\x2f\xfd", "a zstd archive", "Unpack it first."),
    (b"\xd0\xcf\x11\xe0", "an old or password-protected spreadsheet", "Save it as CSV."),
    (b"PARE", "an encrypted Parquet file", "Export it without a password."),
    (b"%PDF", "a PDF", "Export the samples as CSV."),
    (b"\x89PNG", "a picture", "Export the samples as CSV."),
    (b"\xff\xd8\xff", "a picture", "Export the samples as CSV."),
    (b"SQLite format 3", "a database", "Export the samples as CSV."),
)
"""How files begin that are no log, and what to do about them."""


@dataclass(frozen=True, eq=False)
class Log:
    """A log as read: its recordings, one per session, and how its columns were understood."""

    file: str
    form: str
    sha256: str
    columns_sha256: str
    columns: tuple[str, ...]
    mapping: LogMapping | None
    mapping_file: str | None
    recordings: tuple[Recording, ...]
    done: tuple[Done, ...]
    left_out: tuple[tuple[str, str], ...]
    driver_name: str | None = None
    """Who drove, where the file says so."""


Said = LogMapping | Sequence[LogMapping] | None
"""What somebody has said: of one log, or of several, of which each takes its own."""


def read_log(path: Path | str, mapping: Said = None, words: LogMapping | None = None) -> Log:
    """Read a CSV, Parquet or MDF log.

    Parameters
    ----------
    path : Path or str
    mapping : LogMapping or sequence of LogMapping, optional
        What somebody has said of its columns; out of a sequence the one that is this log's, if any
        is. Without one, that which lies beside the log, if any does.
    words : LogMapping, optional
        What is said on top of that, this once; where ``mapping`` is a sequence, of those columns
        that this log has.

    Raises
    ------
    InputError
        If the file is no log, is damaged or too large, or has no time or no speed.
    MissingPart
        If it is an MDF log and the library for it is not installed.
    """
    file = Path(path)
    size, head = _head(file)
    refused = Event()
    with ThreadPoolExecutor(1) as pool:
        digest = pool.submit(_sha256, file, refused)
        try:
            raw = _read(file, head, size)
        except BaseException:
            refused.set()  # nobody waits for the fingerprint of what is no log
            raise
        sha256 = digest.result()
    return _understood(file, raw, sha256, mapping, words)


def raw_log(path: Path | str) -> RawLog:
    """Read a log as recorded; what its columns are is not asked.

    Raises
    ------
    InputError
        If the file holds no table of samples, is damaged or too large.
    MissingPart
        As for `read_log`.
    """
    file = Path(path)
    size, head = _head(file)
    return _read(file, head, size)


def raw_samples(recording: Recording, original_name: str) -> list[Column]:
    """Read a column of the log again, untouched: all its samples of all sessions, as recorded.

    Raises
    ------
    InputError
        As for `read_log`; and if the log is no longer the one that was read.
    """
    file = Path(recording.file)
    size, head = _head(file)
    if _sha256(file) != recording.sha256:
        raise InputError(
            "The log has changed since it was read.",
            code="log_changed",
            file=file,
            key="sha256",
            value="another",
            allowed=recording.sha256,
            unit="",
            hint="Read it again.",
        )
    groups = _read(file, head, size).groups
    return [one for group in groups for one in group.columns if one.name == original_name]


# ---------------------------------------------------------------- the file


def _head(file: Path) -> tuple[int, bytes]:
    """Size and first part of a file that may be a log."""
    try:
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            raise _refused(file, "This is a folder or a device, not a file.", "file_not_regular")
        if status.st_size > MAX_BYTES:
            raise _refused(file, "The file is too large for a log.", "log_too_large")
        with file.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except OSError as error:
        missing = isinstance(error, FileNotFoundError)
        message = "There is no such file." if missing else f"It cannot be read: {error.strerror}."
        raise _refused(file, message, "file_missing" if missing else "file_unreadable") from error
    except ValueError as error:
        raise _refused(file, "This is no name of a file.", "file_missing") from error
    if not head.strip(b"\0 \t\r\n\xef\xbb\xbf"):
        raise _refused(file, "The file is empty.", "file_empty", "Export the log again.")
    return status.st_size, head


def _refused(
    file: Path, message: str, code: str, hint: str = "Check the path, or export the log again."
) -> InputError:
    return InputError(
        message,
        code=code,
        file=file,
        key="file",
        value=file.name,
        allowed=f"a log of up to {MAX_BYTES >> 30} GiB: CSV, Parquet or ASAM MDF",
        unit="",
        hint=hint,
    )


def _sha256(file: Path, refused: Event | None = None) -> str:
    digest = hashlib.sha256()
    with file.open("rb", buffering=0) as stream:
        while (part := stream.read(PART_BYTES)) and not (refused and refused.is_set()):
            digest.update(part)
    return digest.hexdigest()


PART_BYTES: Final = 1 << 20


def _read(file: Path, head: bytes, size: int) -> RawLog:
    """Read by what the file is, whatever it is called."""
    if head.startswith(PARQUET_MAGIC):
        return read_parquet(file)
    if head.startswith(MDF_MAGIC):
        return read_mdf(file, size)
    for magic, what, hint in OTHER_KINDS:
        if head.startswith(magic):
            error = not_text(file)
            raise InputError(
                error.message,
                code=error.code,
                file=file,
                key="file",
                value=what,
                allowed=error.allowed,
                unit="",
                hint=hint,
            )
    return read_csv(file, head, size)


# ---------------------------------------------------------------- its columns


def _understood(
    file: Path, raw: RawLog, sha256: str, mapping: Said, words: LogMapping | None
) -> Log:
    columns = [one for group in raw.groups for one in group.columns]
    names = tuple(dict.fromkeys(one.name for one in columns))
    key = columns_key((one.name, one.unit) for one in columns)
    several = mapping is not None and not isinstance(mapping, LogMapping)
    own = mapping if isinstance(mapping, LogMapping) else fitting(mapping or (), key, names)
    found = beside(file, key) if own is None else None
    said = found[1] if found else own
    if words is not None and several:
        words = words.replace(column=tuple(one for one in words.column if one.column in names))
    if words is not None and words.column:
        said = joined(said, words, key)
    if said is not None:
        check_columns(said, names, file)
    mapped = {one.column: one for one in said.column} if said else {}
    judged = [
        judge(column, number, mapped)
        for number, group in enumerate(raw.groups)
        for column in group.columns
    ]
    settle_minutes(judged)
    left_out = [name for name, _ in raw.left_out]
    times, clock_columns, timed = clocks_of(file, raw.groups, judged, left_out)
    clocks = set(clock_columns)
    same = [_same(group) for group in raw.groups]
    places = [one.rows for one in raw.groups if one.rows is not None]
    sessions, done = sessions_of(times, places or None, same)
    if not sessions:
        raise InputError(
            "The clock of the log does not run: no session of a second or more is found.",
            code="log_no_session",
            file=file,
            key="time",
            value=", ".join(sorted({judged[i].column.name for i in clock_columns})) or "its own",
            allowed="times that rise over at least a second and ten rows",
            unit="s",
            hint="Is another column the time? Name it with --map COLUMN=time_s:UNIT.",
        )
    starts = [_from_zero(one) for one in sessions]
    _settle(judged, max(sessions, key=_size))
    log = Log(
        str(file),
        raw.form,
        sha256,
        key,
        names,
        said,
        str(found[0]) if found else None,
        tuple(
            _recording(_Place(file, sha256, number, len(sessions), start), session, judged, clocks)
            for number, (session, start) in enumerate(zip(sessions, starts, strict=True), start=1)
        ),
        (*raw.done, *timed, *done),
        raw.left_out,
        raw.driver_name,
    )
    _need_speed(file, log.recordings)
    return log


def _size(session: Session) -> int:
    return max(len(times) for times in session.times)


def _same(group: Group) -> Callable[[Rows, Rows], np.ndarray]:
    """Whether rows of a group hold the same values in every column."""

    def alike(one: Rows, other: Rows) -> np.ndarray:
        out = np.ones(len(one), dtype=bool)
        for column in group.columns:
            a, b = column.value[one], column.value[other]
            out &= (a == b) | (np.isnan(a) & np.isnan(b))
        return out

    return alike


ORDER: Final = ("speed_mps", "distance_m", "wheel", "accel_x", "yaw_rate", "accel_y")
"""The order in which open units are settled: what comes first may settle what follows."""


def _settle(judged: list[Judged], session: Session) -> None:
    """Settle double claims and open units by what the channels of one session say together."""
    clean.settle_twins(judged, session)

    def used_now() -> dict[str, Channel]:
        return {
            one.name: clean.in_si(one, clean.raw_channel(one, session), [])
            for one in judged
            if one.state == "used" and one.name is not None and one.name != "time_s"
        }

    open_ = [i for i, one in enumerate(judged) if one.state == "asked" and one.choices]
    open_ = [i for i in open_ if len({name for name, _ in judged[i].choices}) == 1]
    open_ = [i for i in open_ if not used(judged, judged[i].choices[0][0])]
    if not open_:
        return
    seen = evidence.Seen.of(used_now())
    for i in sorted(open_, key=lambda i: _rank(judged[i].choices[0][0])):
        one = judged[i]
        good = evidence.borne_out(one.choices, clean.raw_channel(one, session), seen)
        if len(good) > 1:
            judged[i] = one.as_asked(tuple(choice for choice, _ in good))
        if len(good) != 1:
            continue
        (name, unit), sign = good[0]
        note = f"taken to be in {unit.text}: so it fits the other channels"
        judged[i] = one.as_used(name, unit, note, sign)
        seen = evidence.Seen.of(used_now())
    clean.settle_twins(judged, session)


def _rank(name: str) -> int:
    return next((i for i, start in enumerate(ORDER) if name.startswith(start)), len(ORDER))


def _from_zero(session: Session) -> float:
    """Let the clocks of a session begin at 0; give what they showed then. [s]"""
    start = min(float(times[0]) for times in session.times if len(times))
    session.times = [times - start for times in session.times]
    return start


# ---------------------------------------------------------------- one session


class _Place(NamedTuple):
    """Where a session stands: first fields of its recording."""

    file: Path
    sha256: str
    session: int
    sessions: int
    start_s: float

    @property
    def run_id(self) -> str:
        further = "" if self.session == 1 else f"-{self.session}"
        return self.sha256[:12] + further


def _recording(
    place: _Place, session: Session, judged: Iterable[Judged], clocks: set[int]
) -> Recording:
    done = list(session.done)
    channels: dict[str, Channel] = {}
    others: list[Channel] = []
    told: set[str] = set()
    commands: set[str] = set()
    for i, one in enumerate(judged):
        raw = clean.raw_channel(one, session)
        if i in clocks:
            # In a table of one row per sample, one column is the clock of many groups.
            if all(raw.original_name != other.original_name for other in others):
                others.append(replace(raw, name="time_s"))
            continue
        if one.state != "used" or one.name is None:
            others.append(raw)
            continue
        channel = clean.in_si(one, raw, done)
        if len(channel.time_s) < 2:
            others.append(replace(raw, state="ignored", note="has no samples in this session"))
            continue
        channels[one.name] = channel
        told |= {one.name} if one.told else set()
        commands |= {one.name} if one.command else set()
    others += clean.tell_standing(channels, done)
    clean.speed_from_position(channels, done)
    seen = evidence.Seen.of(channels)
    notes = clean.straighten(channels, seen, told, done)
    clean.tell_delays(channels, seen, commands, notes)
    return Recording(
        place.run_id,
        place.sha256,
        str(place.file),
        place.session,
        place.sessions,
        place.start_s,
        channels,
        tuple(others),
        tuple(done),
        tuple(notes),
    )


def _need_speed(file: Path, recordings: Sequence[Recording]) -> None:
    """Refuse a log of which no speed can ever be had."""
    for one in recordings:
        if "speed_mps" in one:
            return
        wanted = ("speed_mps", "position_", "latitude", "longitude", "distance")
        if any(choice.startswith(wanted) for other in one.others for choice in other.choices):
            return
    columns = [
        other.original_name + (", which holds no numbers" if other.note == NO_NUMBERS else "")
        for other in recordings[0].every()
    ]
    raise InputError(
        "The log has neither a speed nor a position.",
        code="log_no_speed",
        file=file,
        key="speed_mps",
        value="; ".join(columns[:12]) + (" ..." if len(columns) > 12 else ""),
        allowed="a speed, longitude and latitude, or x and y",
        unit="",
        hint="If one of its columns is a speed: --map COLUMN=speed_mps:UNIT.",
    )
