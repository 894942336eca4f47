"""Starting the server: where it listens, whom it lets in, and the browser opened beside it."""

from __future__ import annotations

import contextlib
import errno
import ipaddress
import json
import os
import secrets
import socket
import sys
import threading
import webbrowser
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from foreaft.base.errors import ForeaftError, InputError
from foreaft.files.history import FOLDER_VARIABLE
from foreaft.files.library import LIBRARY_VARIABLE, Library, library_folder

if TYPE_CHECKING:
    from foreaft.web.app import Parts

PORT: Final = 8765
PORTS_TRIED: Final = 50
LOOPBACK: Final = "127.0.0.1"
COLD: Final = "Compiling the physics for this machine: first run only; first answers take a while."


@dataclass(frozen=True)
class Wanted:
    """How the app is to be started."""

    library: Path | None = None
    address: str = LOOPBACK
    port: int | None = None
    token: bool = False
    browser: bool = True
    largest_log_MB: int = 512
    json: bool = False


def serve(wanted: Wanted) -> None:
    """Serve until stopped.

    Raises
    ------
    InputError
        If the library cannot be used, the address is not ours, or needs a token.
    """
    import uvicorn

    from foreaft.web.app import BUILT, make_app
    from foreaft.web.guard import Rules

    _check(wanted)
    loopback = _is_loopback(wanted.address)
    if not loopback and not wanted.token:
        raise _needs_token(wanted.address)
    library = Library(wanted.library or library_folder())
    _keep_history_with(library, wanted)
    listening = _listen(wanted.address, wanted.port)
    port = listening.getsockname()[1]
    token = secrets.token_urlsafe(32) if wanted.token else None
    hosts = ("127.0.0.1", "localhost", "[::1]", socket.gethostname().lower())
    rules = Rules(hosts[:3] if loopback else hosts, port, token, not loopback, _bytes(wanted))
    parts = make_app(library, rules)
    address = _shown(wanted.address, port) + (f"/?token={token}" if token else "/")
    _tell(address, library, BUILT, wanted.json)
    threading.Thread(target=load_physics, args=[parts], daemon=True).start()
    if wanted.browser:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    settings = uvicorn.Config(
        parts.app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        lifespan="off",
        timeout_graceful_shutdown=1,
    )
    uvicorn.Server(settings).run(sockets=[listening])


def _check(wanted: Wanted) -> None:
    for key, value, low, high in (
        ("port", PORT if wanted.port is None else wanted.port, 1, 65535),
        ("largest-log-MB", wanted.largest_log_MB, 1, 100_000),
    ):
        if not low <= value <= high:
            raise InputError(
                f"--{key} cannot be used.",
                code="option_out_of_range",
                key=key,
                value=value,
                allowed=f"from {low} to {high}",
                hint="correct this option",
            )


def _bytes(wanted: Wanted) -> int:
    return wanted.largest_log_MB * 1024 * 1024


def _keep_history_with(library: Library, wanted: Wanted) -> None:
    """A library of its own holds its history; the usual one shares that of the command line."""
    if wanted.library is not None or LIBRARY_VARIABLE in os.environ:
        os.environ[FOLDER_VARIABLE] = str(library.root)


def _is_loopback(address: str) -> bool:
    try:
        return address == "localhost" or ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _listen(address: str, port: int | None) -> socket.socket:
    """Listen at the port asked for; where none is, at the first that is free."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    tried = range(PORT, PORT + PORTS_TRIED) if port is None else [port]
    said: OSError | None = None
    for one in tried:
        listening = socket.socket(family)
        if os.name != "nt":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((address, one))
            listening.listen(128)
            return listening
        except OSError as error:
            listening.close()
            said = error
            if error.errno != errno.EADDRINUSE:
                break
    raise InputError(
        "The server cannot listen there.",
        code="address_taken",
        key="port" if port is not None else "address",
        value=f"{address}:{port or PORT}",
        allowed="an address of this machine, and a port nobody else listens at",
        unit="",
        hint=(said.strerror or str(said)) if said else "Take another port.",
    ) from said


def _needs_token(address: str) -> InputError:
    return InputError(
        "Others could reach this address: it needs a token.",
        code="no_token",
        key="address",
        value=address,
        allowed="127.0.0.1; any other address with --token",
        unit="",
        hint="Add --token; the address that is printed then carries it.",
    )


def _shown(address: str, port: int) -> str:
    name = address if address not in ("0.0.0.0", "::") else socket.gethostname().lower()
    return f"http://[{name}]:{port}" if ":" in name else f"http://{name}:{port}"


def _tell(address: str, library: Library, built: Path, as_json: bool) -> None:
    if as_json:
        told = {"schema": "foreaft.app/1", "address": address, "library": str(library.root)}
        print(json.dumps(told), flush=True)
        return
    print(f"Foreaft is at {address}")
    print(f"Its library lies in {library.root}; Ctrl-C ends it.", flush=True)
    if not (built / "index.html").is_file():
        print("The pages are not built: run make app. Programs can use /api.", flush=True)


def load_physics(parts: Parts) -> None:
    """Load, or compile, what the first answers need while the browser opens."""
    from foreaft.base.kernel import kernels_are_warm
    from foreaft.jobs.live import Desk, live
    from foreaft.jobs.requests import LiveRequest
    from foreaft.plan import cost

    if not kernels_are_warm(cost.field):
        parts.compiling.set()
        print(COLD, file=sys.stderr, flush=True)
    place = parts.library.place
    car, sheet = place("cars", "halden-gt"), place("sheets", "eight-corners")
    circuit = place("circuits", "brackwater")
    try:
        for one in (LiveRequest(car=car, sheet=sheet), LiveRequest(car=car, circuit=circuit)):
            with contextlib.suppress(ForeaftError, OSError):  # removed by their owner: then later
                live(one, Desk())
    finally:
        parts.compiling.clear()
