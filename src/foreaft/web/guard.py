"""The guard at the door: whose requests are let in, how large, and what every answer carries.

A page of another site must not reach us through the user's browser: the host must be ours (so that
no foreign name points here), the origin must be ours, and a body must be of a type no plain form
can send.
"""

from __future__ import annotations

import html
import ipaddress
import json
import logging
import secrets
import time
from collections.abc import Iterable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final
from urllib.parse import parse_qs

from foreaft.base.errors import ForeaftError, InputError
from foreaft.files.library import Library
from foreaft.web.telling import bug, error_text, status_of

Message = dict[str, Any]
LOGGER: Final = logging.getLogger("foreaft.web")
JSON_MOST: Final = 4 * 1024 * 1024
LOG_MOST: Final = 512 * 1024 * 1024
COOKIE: Final = "foreaft_token"
BODILESS: Final = ("GET", "HEAD", "OPTIONS", "DELETE")
"""A foreign page cannot send DELETE without asking first, so it needs no content type."""

LOGS: Final = "/api/logs/"
PRODUCTS: Final = "/api/work/"

_REST: Final = "base-uri 'none'; form-action 'none'"
PAGE_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "font-src 'self'; connect-src 'self'; frame-src 'self'; frame-ancestors 'none'; " + _REST
)
PRODUCT_POLICY: Final = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:; font-src data:; media-src data: blob:; frame-ancestors 'self'; "
    "sandbox allow-scripts; " + _REST
)
"""Products carry all they need in themselves; the sandbox takes our origin from them."""

PDF_POLICY: Final = "frame-ancestors 'self'; " + _REST
"""Browsers show no PDF in a sandbox; it runs nothing of ours either way."""

REFUSAL: Final = """<!doctype html><html lang="en"><meta charset="utf-8"><title>Foreaft</title>
<h1>{}</h1><p>{}</p></html>
"""

HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


@dataclass(frozen=True)
class Rules:
    """Whom to let in.

    Parameters
    ----------
    hosts : tuple of str
        Host names that are ours, without port; any address in digits besides where ``digits``.
    port : int or None
        Port that must stand beside the host; None: any.
    token : str or None
        What has to be shown, None where nothing has to.
    log_most : int
        Largest log taken in. [bytes]
    """

    hosts: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")
    port: int | None = None
    token: str | None = None
    digits: bool = False
    log_most: int = LOG_MOST


class Guard:
    """Wraps the application: lets in, counts, adds headers, keeps a mistake of ours from view."""

    def __init__(self, app: Any, rules: Rules, library: Library) -> None:
        self._app, self._rules, self._library = app, rules, library

    async def __call__(self, scope: Message, receive: Any, send: Any) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        answer = _Answer(scope, send)
        started = time.monotonic()
        try:
            refused = self._refused(scope)
            if refused is not None:
                await answer.error(refused, self._library)
            elif self._shows_token(scope):
                await answer.welcome(self._rules.token or "")
            else:
                most = self._most(scope)
                await self._app(scope, _counted(receive, most), answer.send)
        except Exception:
            if not answer.status:  # else it was told already
                await answer.bug()
        # Neither query nor body: they may hold a token, or what somebody wrote.
        spent = (time.monotonic() - started) * 1000
        LOGGER.info("%s %s %s %.0f ms", scope["method"], scope["path"], answer.status, spent)

    # ------------------------------------------------------------ who comes

    def _refused(self, scope: Message) -> InputError | None:
        """Why a request is not let in; None where it is."""
        headers = _headers(scope)
        host = headers.get("host", "")
        if not self._is_ours(host):
            return _not_ours("Host", host)
        origin = headers.get("origin")
        if origin is not None and origin != f"{scope.get('scheme', 'http')}://{host}":
            return _not_ours("Origin", origin)
        if headers.get("sec-fetch-site") in ("cross-site", "same-site"):
            opened = headers.get("sec-fetch-mode") == "navigate" and scope["method"] == "GET"
            if not (opened and not scope["path"].startswith("/api")):
                return _not_ours("Sec-Fetch-Site", headers["sec-fetch-site"])
        if self._rules.token is not None and not self._knows_token(scope, headers):
            return _no_token()
        if scope["method"] not in BODILESS:
            return self._wrong_body(scope, headers)
        return None

    def _is_ours(self, host: str) -> bool:
        name, port = _host_and_port(host)
        if self._rules.port is not None and port != self._rules.port:
            return False
        if name.lower() in self._rules.hosts:
            return True
        return self._rules.digits and _is_address(name)

    def _knows_token(self, scope: Message, headers: dict[str, str]) -> bool:
        shown = [headers.get("authorization", "").removeprefix("Bearer ")]
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            cookie = None
        shown.append(cookie.value if cookie else "")
        if scope["method"] == "GET" and scope["path"] == "/":
            shown += _query_token(scope)
        token = (self._rules.token or "").encode()
        return any(secrets.compare_digest(one.encode(), token) for one in shown)

    def _shows_token(self, scope: Message) -> bool:
        """Whether the page is opened with the token in its address: it goes into a cookie."""
        opened = scope["method"] == "GET" and scope["path"] == "/"
        return self._rules.token is not None and opened and bool(_query_token(scope))

    def _most(self, scope: Message) -> int:
        return self._rules.log_most if scope["path"].startswith(LOGS) else JSON_MOST

    def _wrong_body(self, scope: Message, headers: dict[str, str]) -> InputError | None:
        kind = headers.get("content-type", "").partition(";")[0].strip().lower()
        logs = scope["path"].startswith(LOGS)
        wanted = "application/octet-stream" if logs else "application/json"
        if kind != wanted:
            return _wrong_type(kind, wanted)
        length = headers.get("content-length", "0")
        if length.isdecimal() and int(length[:18]) > self._most(scope):
            return _too_large(self._most(scope))
        return None


class _Answer:
    """One answer on its way out."""

    def __init__(self, scope: Message, send: Any) -> None:
        self._send = send
        path = scope["path"]
        self._policy = _policy(path)
        self._is_api = path.startswith("/api")
        self._reads_pages = not self._is_api and "text/html" in _headers(scope).get("accept", "")
        self.status = 0

    async def send(self, message: Message) -> None:
        """Send a part of the answer, the first with the headers all answers carry."""
        if message["type"] == "http.response.start":
            self.status = message["status"]
            own = {"Content-Security-Policy": self._policy, **HEADERS}
            given = {name.lower() for name, _ in message.get("headers", [])}
            if self._is_api and b"cache-control" not in given:
                own["Cache-Control"] = "no-store"
            more = [(name.lower().encode(), value.encode()) for name, value in own.items()]
            message = message | {"headers": [*message.get("headers", []), *more]}
        await self._send(message)

    async def error(self, error: ForeaftError, library: Library) -> None:
        """Send the error object; to somebody at an address of ours, a page that says the same."""
        if self._reads_pages:
            text = REFUSAL.format(*(html.escape(one) for one in (error.message, error.hint)))
            await self._whole(status_of(error), text.encode(), kind=b"text/html; charset=utf-8")
            return
        await self._whole(status_of(error), error_text(error, library).encode())

    async def bug(self) -> None:
        """Say that it is our mistake; the report is kept, not sent."""
        await self._whole(500, json.dumps(bug()).encode())

    async def welcome(self, token: str) -> None:
        """Put the token into a cookie and open the page without it in the address."""
        cookie = f"{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict"
        await self._whole(303, b"", [(b"location", b"/"), (b"set-cookie", cookie.encode())])

    async def _whole(
        self,
        status: int,
        body: bytes,
        headers: Iterable[tuple[bytes, bytes]] = (),
        kind: bytes = b"application/json",
    ) -> None:
        told = [
            (b"content-type", kind),
            (b"content-length", str(len(body)).encode()),
            (b"connection", b"close"),
            *headers,
        ]
        await self.send({"type": "http.response.start", "status": status, "headers": told})
        await self._send({"type": "http.response.body", "body": body})


def _policy(path: str) -> str:
    """What the browser may do with an answer."""
    if not (path.startswith(PRODUCTS) and "/files/" in path):
        return PAGE_POLICY
    return PDF_POLICY if path.lower().endswith(".pdf") else PRODUCT_POLICY


def _counted(receive: Any, most: int) -> Any:
    """The body as it comes, no more than so many bytes of it."""
    come = 0

    async def one() -> Message:
        nonlocal come
        message: Message = await receive()
        come += len(message.get("body", b""))
        if come > most:
            raise _too_large(most)
        return message

    return one


def _headers(scope: Message) -> dict[str, str]:
    return {name.decode("latin-1").lower(): v.decode("latin-1") for name, v in scope["headers"]}


def _host_and_port(host: str) -> tuple[str, int | None]:
    name, colon, port = host.rpartition(":")
    if not colon or host.endswith("]"):
        return host, 80
    return name, int(port) if port.isdecimal() and len(port) < 6 else None


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return False
    return True


def _query_token(scope: Message) -> list[str]:
    return parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [])


def _not_ours(header: str, value: str) -> InputError:
    return InputError(
        "This request does not come from our own page.",
        code="not_ours",
        key=header,
        value=value[:120],
        allowed="the address the app was started at",
        hint="Open the address the terminal shows.",
    )


def _no_token() -> InputError:
    return InputError(
        "This server asks for its token.",
        code="no_token",
        key="token",
        allowed="Authorization: Bearer TOKEN, or the address with ?token= once",
        hint="The terminal the app was started from shows it.",
    )


def _wrong_type(kind: str, wanted: str) -> InputError:
    return InputError(
        "The body is not of the type this takes.",
        code="wrong_content_type",
        key="Content-Type",
        value=kind[:80],
        allowed=wanted,
        hint="Set the header.",
    )


def _too_large(most: int) -> InputError:
    return InputError(
        "This is too large.",
        code="too_large",
        key="body",
        allowed=f"up to {most}",
        unit="bytes",
        hint="A log may be larger than the rest; foreaft app --largest-log-MB raises its limit.",
    )
