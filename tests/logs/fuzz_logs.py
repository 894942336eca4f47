"""Spoil logs by the thousand and read them; tests/logs/test_read_fuzz.py reads a few.

    python tests/logs/fuzz_logs.py --count 2000

Fails where a reader ends with anything but a recording or a ``ForeaftError`` that says what is
wrong and what to do, takes more than ten seconds, a gigabyte of memory, or writes beside the log.
Mutants are read fifty to a process, so that a crash of the process is seen and survived.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import faulthandler
import json
import random
import resource
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from foreaft.base.errors import ForeaftError
from foreaft.cli import show_log
from foreaft.jobs.read_log import read
from foreaft.jobs.requests import ReadRequest
from logs import made

HANG_S = 10.0
MOST_S = 2.0 * HANG_S
"""Machines of one kind differ by two: 10.3 s of a processor were seen for 10,000 columns."""
MEMORY_BYTES = 1 << 30
PER_PROCESS = 50

Bytes = bytes
Change = Callable[[random.Random, bytes], bytes]


# ---------------------------------------------------------------- logs to be spoilt


def _columns(seconds: float = 70.0, rate_hz: float = 20.0) -> dict[str, np.ndarray]:
    run = made.run(seconds, rate_hz)
    return {
        "Time [s]": run["time_s"],
        "Speed [km/h]": run["speed_mps"] * 3.6,
        "G Long [g]": run["accel_x_mps2"] / made.G,
        "Brake Pressure Front [bar]": run["pressure_front_Pa"] / 1e5,
        "Gear": run["gear"],
    }


def _long() -> bytes:
    columns = _columns(40.0)
    time_s = columns.pop("Time [s]")
    lines = ["time [s],channel,value"]
    for i, t in enumerate(time_s.tolist()):
        lines += [f"{t:.3f},{name},{values[i]:.5g}" for name, values in columns.items()]
    return "\n".join(lines).encode()


@cache
def seeds() -> dict[str, bytes]:
    """Give small good logs of every kind, by the name they get."""
    columns = _columns()
    quoted = made.text(columns).replace("Speed [km/h]", '"Speed, over ground [km/h]"')
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        parquet = made.write_parquet(folder / "a.parquet", columns).read_bytes()
        slow = _columns(70.0, 5.0)
        groups = [
            (columns["Time [s]"], {"Speed": (columns["Speed [km/h]"], "km/h")}),
            (
                slow["Time [s]"],
                {n: (slow[n], "bar") for n in ("Brake Pressure Front [bar]", "Gear")},
            ),
        ]
        mdf = made.write_mdf(folder / "a.mf4", groups).read_bytes()
    return {
        "plain.csv": made.text(columns).encode(),
        "quoted.csv": quoted.encode(),
        "german.csv": made.text(columns, ";", comma=True, above=["Lauf;3", ""]).encode("cp1252"),
        "wide.csv": made.text(columns, "\t").encode("utf-16"),
        "long.csv": _long(),
        "log.parquet": parquet,
        "log.mf4": mdf,
    }


SHARES = {"log.mf4": 2, "log.parquet": 3}  # of a dozen; the child of an MDF takes half a second


# ---------------------------------------------------------------- what is done to them


def _truncated(rng: random.Random, data: bytes) -> bytes:
    return data[: rng.randrange(len(data))]


def _flipped(rng: random.Random, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 3, 20, 200))):
        out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def _head_flipped(rng: random.Random, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 2, 5))):
        out[rng.randrange(min(len(out), 600))] = rng.randrange(256)
    return bytes(out)


def _tail_flipped(rng: random.Random, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 2, 5))):
        out[-1 - rng.randrange(min(len(out), 400))] = rng.randrange(256)
    return bytes(out)


def _zeroed(rng: random.Random, data: bytes) -> bytes:
    at, length = rng.randrange(len(data)), rng.randrange(1, 5000)
    return data[:at] + b"\0" * len(data[at : at + length]) + data[at + length :]


def _moved(rng: random.Random, data: bytes) -> bytes:
    a, b = sorted(rng.randrange(len(data)) for _ in range(2))
    return data[:a] + data[b:] + data[a:b]


def _mixed(rng: random.Random, data: bytes) -> bytes:
    at = rng.randrange(len(data))
    odd = rng.choice(
        ("ü%".encode("latin-1"), "Öl°".encode("utf-16"), b"\xff\xfe", b"\xc3", b"\x80" * 9)
    )
    return data[:at] + odd + data[at:]


def _empty(rng: random.Random, data: bytes) -> bytes:
    return rng.choice((b"", b"\n", b"\xef\xbb\xbf", b" \r\n" * 50, b"\0" * 4096))


def _other_kind(rng: random.Random, data: bytes) -> bytes:
    start = rng.choice(
        (b"PK\x03\x04", b"\x1f\x8b\x08", b"\xd0\xcf\x11\xe0", b"%PDF", b"PAR1", b"PARE")
    )
    return rng.choice((start + data, start, start + bytes(rng.randrange(256) for _ in range(999))))


def _random(rng: random.Random, data: bytes) -> bytes:
    return bytes(rng.randrange(256) for _ in range(rng.choice((3, 100, 5000))))


ANY: list[Change] = [_truncated, _flipped, _head_flipped, _tail_flipped, _zeroed, _moved, _mixed]
ANY += [_empty, _other_kind, _random]

ODD_CELLS = ["=1+2", '=cmd|"/c calc"!A0', "@SUM(A1)", "NaN", "inf", "-inf", "1e999", "1e308"]
ODD_CELLS += ['"', '""', "12,5", "1.234.567,8", "--", "n/a", "#REF!", "0x1F", "1:02:03", "  ", "%"]
ODD_CELLS += ["9" * 400, "é", "\t", ";", "TRUE", "1_000", "５", "1e", ".", "-", "+", "NULL"]


def _lines(data: bytes) -> list[str]:
    return data.decode("utf-8", "replace").split("\n")


def _joined(lines: list[str]) -> bytes:
    return "\n".join(lines).encode("utf-8", "replace")


def _odd_cells(rng: random.Random, data: bytes) -> bytes:
    lines = _lines(data)
    often = rng.choice((0.01, 0.3, 1.0))
    for i in range(1, len(lines)):
        if rng.random() < often:
            cells = lines[i].split(",")
            cells[rng.randrange(len(cells))] = rng.choice(ODD_CELLS)
            lines[i] = ",".join(cells)
    return _joined(lines)


def _column(rng: random.Random, data: bytes) -> bytes:
    """One column all the same, all empty, all NaN, reversed or random."""
    lines = _lines(data)
    at = rng.randrange(5)
    how = rng.choice(("7", "", "nan", "0", "1e300", "back", "noise"))
    rows = [line.split(",") for line in lines]
    values = [row[at] for row in rows[1:] if len(row) > at][::-1]
    for i, row in enumerate(rows[1:]):
        if len(row) > at and i < len(values):
            row[at] = {"back": values[i], "noise": str(rng.uniform(-1e6, 1e6))}.get(how, how)
    return _joined([",".join(row) for row in rows])


def _rows(rng: random.Random, data: bytes) -> bytes:
    """Rows shuffled, doubled, dropped, cut short, or the header once more in the middle."""
    lines = _lines(data)
    body = lines[1:]
    how = rng.randrange(7)
    if how == 0:
        rng.shuffle(body)
    elif how == 1:
        body = body + body
    elif how == 2:
        body = body[: len(body) // 3] + body[len(body) // 2 :]
    elif how == 3:
        body = [line[: rng.randrange(1, 40)] for line in body]
    elif how == 4:
        body.insert(rng.randrange(len(body)), lines[0])
    elif how == 5:
        body = body[::-1]
    else:
        body = body[: rng.choice((0, 1, 2, 9, 30))]
    return _joined([lines[0], *body])


def _header(rng: random.Random, data: bytes) -> bytes:
    lines = _lines(data)
    lines[0] = rng.choice(
        (
            "",
            "a,b,c,d,e",
            "Time,Time,Time,Time,Time",
            "Time [ms],Speed,Brake,Brake,Gear",
            "Distance [m],Speed [km/h],a,b,c",
            ",,,,",
            "1,2,3,4,5",
            "Time [s],Speed [bar],G Long [rpm],x,y",
            "Time [s]," + "Speed [km/h]" * 3000 + ",,,",
        )
    )
    return _joined(lines)


def _many_columns(rng: random.Random, data: bytes) -> bytes:
    count = rng.choice((300, 10_000, 25_000))
    head = ",".join(["Time [s]", "Speed [km/h]", *(f"x{i}" for i in range(count))])
    row = ",1" * count
    return _joined([head, *(f"{i / 10},{50 + i % 40}{row}" for i in range(rng.choice((1, 30))))])


def _long_line(rng: random.Random, data: bytes) -> bytes:
    return data[:200] + rng.choice((b"1", b",", b'"', b"a", b"\n")) * rng.choice(
        (10_000, 3_000_000)
    )


def _separated(rng: random.Random, data: bytes) -> bytes:
    return data.replace(b",", rng.choice((b"|", b" ", b"::", b"\x01", b";;", b", ", b"\t\t")))


TEXT: list[Change] = [_odd_cells, _odd_cells, _column, _column, _rows, _rows, _header]
TEXT += [_many_columns, _long_line, _separated]


def mutant(number: int) -> tuple[str, str, bytes]:
    """Give one spoilt log: its file name, what was done, its bytes; the same for a number."""
    rng = random.Random(number)
    good = seeds()
    names = [
        name for name in good for _ in range(SHARES.get(name, 2 if name != "plain.csv" else 6))
    ]
    name = rng.choice(names)
    data, done = good[name], []
    changes = TEXT + ANY if name in ("plain.csv", "quoted.csv", "long.csv") else ANY
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        change = rng.choice(changes)
        data = change(rng, data)
        done.append(change.__name__.strip("_"))
        if not data:
            break
    if rng.random() < 0.1:
        name = rng.choice(("log.mf4", "log.parquet", "plain.csv", "log", "log.dat"))
        done.append("renamed")
    return name, " ".join((f"mutant {number}: {name}:", *done)), data


# ---------------------------------------------------------------- reading them


def one(number: int, tally: collections.Counter[str]) -> Iterator[str]:
    """What goes wrong with one mutant."""
    name, what, data = mutant(number)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        faulthandler.dump_traceback_later(6 * MOST_S, exit=True)
        start, spent = time.monotonic(), _processor_s()
        try:
            answer = read(ReadRequest(log=path))
            tally["read"] += 1
            json.dumps(answer.model_dump(), allow_nan=False)
            show_log.read(answer)
        except ForeaftError as error:
            tally[error.code] += 1
            json.dumps(error.as_dict(), allow_nan=False)
            if not (error.message and error.hint):
                yield f"{what}: an error without message or hint: {error!r}"
        except BaseException:
            yield f"{what}: {traceback.format_exc()}"
        # Other work may hold up the clock; a hang takes the clock, a slow way the processor.
        took, used = time.monotonic() - start, _processor_s() - spent
        if used > MOST_S or took > 3.0 * MOST_S:
            yield f"{what}: {took:.1f} s, {used:.1f} s of a processor"
        if path.read_bytes() != data or len(list(Path(folder).iterdir())) != 1:
            yield f"{what}: the folder of the log was changed"
        faulthandler.cancel_dump_traceback_later()
    for who, peak_kb in (("reader", _peak_kb()), ("its child", _peak_of_children_kb())):
        if peak_kb * 1024 > MEMORY_BYTES:
            yield f"{what}: the {who} took over {MEMORY_BYTES >> 20} MiB"


def _peak_kb() -> int:
    """Peak memory of this process alone: getrusage begins with that of whoever started it."""
    try:
        status = Path("/proc/self/status").read_text().splitlines()
    except OSError:  # not Linux
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return int(next(line for line in status if line.startswith("VmHWM")).split()[1])


def _peak_of_children_kb() -> int:
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss


def _processor_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def worker(first: int, count: int) -> int:
    """Read some mutants in this process; print a line of JSON."""
    warnings.simplefilter("error", RuntimeWarning)
    tally: collections.Counter[str] = collections.Counter()
    failures = [bad for number in range(first, first + count) for bad in one(number, tally)]
    peak = max(_peak_kb(), _peak_of_children_kb())
    print(json.dumps({"failures": failures, "tally": tally, "peak_kB": peak}))
    return 0


def run(first: int, count: int) -> tuple[list[str], collections.Counter[str], int]:
    """Read mutants, fifty to a process; give what went wrong, how each ended, the peak in kB."""
    failures: list[str] = []
    tally: collections.Counter[str] = collections.Counter()
    peak = 0
    for at in range(first, first + count, PER_PROCESS):
        some = min(PER_PROCESS, first + count - at)
        command = [sys.executable, __file__, "--worker", "--first", str(at), "--count", str(some)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        try:
            told = json.loads(done.stdout.splitlines()[-1])
        except (IndexError, ValueError):
            failures.append(
                f"mutants {at} to {at + some - 1} ended the process: {done.stderr[-900:]}"
            )
            continue
        failures += told["failures"]
        tally.update(told["tally"])
        peak = max(peak, told["peak_kB"])
        for failure in told["failures"]:
            print(failure, flush=True)
    return failures, tally, peak


def main() -> int:
    """Run so many mutants from the first one on; print what went wrong and a tally."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--worker", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.worker:
        return worker(asked.first, asked.count)
    start = time.monotonic()
    with contextlib.suppress(KeyboardInterrupt):
        failures, tally, peak = run(asked.first, asked.count)
        told = {"failures": len(failures), "tally": dict(sorted(tally.items()))}
        print(json.dumps(told | {"peak_MB": peak // 1000, "s": round(time.monotonic() - start)}))
        return 1 if failures else 0
    return 130


if __name__ == "__main__":
    sys.exit(main())
