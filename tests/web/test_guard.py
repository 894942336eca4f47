"""Who is let in, what is taken, and what every answer carries."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from anyio.from_thread import start_blocking_portal
from starlette.testclient import TestClient

from foreaft.files.library import Library
from foreaft.web.app import Parts, make_app
from foreaft.web.guard import COOKIE, JSON_MOST, Rules
from web.conftest import JSON, refused

TOKEN = "a-token-that-nobody-guesses-0123456789"


def at(parts: Parts, host: str, **headers: str) -> TestClient:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return TestClient(parts.app, base_url=f"http://{host}", headers=named)


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "LOCALHOST", "127.0.0.1:80"])
def test_our_own_hosts_are_let_in(parts: Parts, host: str) -> None:
    assert at(parts, host).get("/api/library").status_code == 200


@pytest.mark.parametrize(
    "host", ["rebound.example", "127.0.0.1.rebound.example", "localhost.example", "192.168.0.7"]
)
def test_a_foreign_name_that_points_here_is_not(parts: Parts, host: str) -> None:
    assert refused(at(parts, host).get("/api/library"), 403)["key"] == "Host"
    assert at(parts, host).get("/").status_code == 403


def test_the_port_is_part_of_the_host(tmp_path: Path) -> None:
    parts = make_app(Library(tmp_path / "library"), Rules(port=8765))
    assert at(parts, "127.0.0.1:8765").get("/api/library").status_code == 200
    for host in ("127.0.0.1", "127.0.0.1:8766", "127.0.0.1:99999999"):
        refused(at(parts, "127.0.0.1").get("/api/library", headers={"Host": host}), 403)


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:9000", "file://"],
)
def test_another_origin_is_refused(client: TestClient, origin: str) -> None:
    for method in ("GET", "POST"):
        told = refused(client.request(method, "/api/library", headers={"Origin": origin}), 403)
        assert told["key"] == "Origin"


def test_our_own_origin_is_let_in(client: TestClient) -> None:
    answer = client.get("/api/library", headers={"Origin": "http://127.0.0.1"})
    assert answer.status_code == 200
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_requests_from_other_sites_are_refused(client: TestClient, site: str) -> None:
    fetched = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": "no-cors"}
    assert refused(client.get("/api/library", headers=fetched), 403)["key"] == "Sec-Fetch-Site"
    followed = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": "navigate", "Accept": "text/html"}
    assert client.get("/plan", headers=followed).status_code != 403, "a link may lead to a page"
    refused(client.get("/api/library", headers=followed), 403)


@pytest.mark.parametrize("site", ["same-origin", "none"])
def test_requests_from_our_page_are_let_in(client: TestClient, site: str) -> None:
    assert client.get("/api/library", headers={"Sec-Fetch-Site": site}).status_code == 200


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""]
)
def test_what_a_plain_form_can_send_is_refused(client: TestClient, kind: str) -> None:
    sent = {"Content-Type": kind}
    for method, path in (
        ("POST", "/api/stop"),
        ("PUT", "/api/library/cars/x"),
        ("PUT", "/api/logs/a"),
    ):
        refused(client.request(method, path, content=b"{}", headers=sent), 415)
    wrong = client.put("/api/logs/a.csv", content=b"{}", headers=JSON)
    assert refused(wrong, 415)["allowed"] == "application/octet-stream"


# ---------------------------------------------------------------- sizes


def test_a_body_too_large_is_refused_by_what_it_says_and_by_what_it_is(client: TestClient) -> None:
    refused(client.post("/api/stop", content=b" " * (JSON_MOST + 1)), 413)

    def pieces() -> Iterator[bytes]:
        for _ in range(JSON_MOST // 65536 + 2):
            yield b" " * 65536

    refused(client.post("/api/stop", content=pieces()), 413)


def test_a_body_that_says_it_is_too_large_is_not_read(parts: Parts) -> None:
    told: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        raise AssertionError("the body was read")

    async def send(message: dict[str, Any]) -> None:
        told.append(message)

    names = {"host": "127.0.0.1", "content-type": "application/json"}
    names["content-length"] = str(JSON_MOST + 1)
    headers = [(name.encode(), value.encode()) for name, value in names.items()]
    scope = {"type": "http", "method": "POST", "path": "/api/stop", "headers": headers}
    # Not asyncio.run: where browser tests ran before, this thread has a loop of its own.
    with start_blocking_portal() as portal:
        portal.call(parts.app, scope, receive, send)
    assert told[0]["status"] == 413


def test_a_log_too_large_leaves_nothing(tmp_path: Path) -> None:
    library = Library(tmp_path / "library")
    client = TestClient(make_app(library, Rules(log_most=1000)).app, base_url="http://127.0.0.1")
    raw = {"Content-Type": "application/octet-stream"}

    def pieces() -> Iterator[bytes]:
        for _ in range(10):
            yield b"x" * 200

    assert client.put("/api/logs/a.csv", content=b"1,2\n" * 250, headers=raw).status_code == 200
    refused(client.put("/api/logs/b.csv", content=b"x" * 1001, headers=raw), 413)
    refused(client.put("/api/logs/c.csv", content=pieces(), headers=raw), 413)
    refused(client.put("/api/logs/d.csv", content=b"", headers=raw), 400)
    assert library.ids("logs") == ["a.csv"]
    assert list((library.root / ".part").iterdir()) == []


# ---------------------------------------------------------------- the token


@pytest.fixture
def guarded(tmp_path: Path) -> Parts:
    """A server others can reach."""
    return make_app(Library(tmp_path / "library"), Rules(token=TOKEN, digits=True))


def test_without_the_token_nothing_is_told(guarded: Parts) -> None:
    away = at(guarded, "192.168.0.7")
    for path in ("/api/library", "/api/about", "/", "/plan", "/api/openapi.json"):
        refused(away.get(path, headers={"Accept": "*/*"}), 403)
    for shown in ("", "Bearer", "Bearer x", f"Bearer {TOKEN}x", f"Bearer {TOKEN[:-1]}"):
        refused(away.get("/api/library", headers={"Authorization": shown}), 403)
    page = away.get("/plan", headers={"Accept": "text/html"})
    assert page.status_code == 403
    assert "token" in page.text


def test_the_token_lets_in(guarded: Parts) -> None:
    away = at(guarded, "192.168.0.7")
    shown = {"Authorization": f"Bearer {TOKEN}"}
    assert away.get("/api/library", headers=shown).status_code == 200


def test_the_address_with_the_token_becomes_a_cookie(guarded: Parts) -> None:
    away = at(guarded, "192.168.0.7")
    refused(away.get(f"/api/library?token={TOKEN}"), 403)
    opened = away.get(f"/?token={TOKEN}", follow_redirects=False)
    assert (opened.status_code, opened.headers["location"]) == (303, "/")
    cookie = opened.headers["set-cookie"]
    assert cookie.startswith(f"{COOKIE}={TOKEN};")
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert away.get("/api/library").status_code == 200
    refused(at(guarded, "192.168.0.7").get("/?token=wrong", headers={"Accept": "*/*"}), 403)


def test_a_name_is_not_ours_even_with_the_token(guarded: Parts) -> None:
    rebound = at(guarded, "rebound.example", Authorization=f"Bearer {TOKEN}")
    assert refused(rebound.get("/api/library"), 403)["key"] == "Host"


# ---------------------------------------------------------------- what answers carry


def test_every_answer_carries_the_headers(client: TestClient) -> None:
    for path in ("/api/library", "/plan", "/api/nothing", "/api/library/cars/none"):
        headers = client.get(path).headers
        policy = dict(
            part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";")
        )
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == "'self'"
        assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cross-origin-opener-policy"] == "same-origin"
    assert client.get("/api/library").headers["cache-control"] == "no-store"


def test_no_secret_stands_in_the_log(guarded: Parts, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    away = at(guarded, "192.168.0.7", Authorization=f"Bearer {TOKEN}", **JSON)
    away.get(f"/?token={TOKEN}")
    away.put("/api/library/cars/x", json={"text": "said in confidence"})
    ours = [one.getMessage() for one in caplog.records if one.name.startswith("foreaft")]
    assert any("PUT /api/library/cars/x 400" in line for line in ours)
    assert TOKEN not in "".join(ours)
    assert "confidence" not in "".join(ours)


def test_a_mistake_of_ours_is_told_without_its_trace(
    parts: Parts, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(library: Library, compiling: bool) -> None:
        raise RuntimeError("a secret place in the code")

    monkeypatch.setattr("foreaft.web.app.about", broken)
    answer = at(parts, "127.0.0.1").get("/api/about")
    assert refused(answer, 500)["code"] == "bug"
    assert "secret" not in answer.text
    report = Path(capsys.readouterr().err.split()[-1])
    assert "a secret place in the code" in report.read_text()
    report.unlink()
