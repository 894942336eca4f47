"""Requests nobody would send: whatever comes, the server answers with an answer or an error."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings

from foreaft.base.errors import Cancelled
from foreaft.files.library import Library
from foreaft.web import asked
from foreaft.web.app import make_app
from foreaft.web.guard import Rules

STREAMS = ("/api/changes", "/api/work/{work_id}/events")
"""They end only with the work, or never."""


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The OpenAPI document of a server whose jobs stop at their first sign of progress."""
    folder = tmp_path_factory.mktemp("any")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FOREAFT_DATA", str(folder / "data"))
        patch.setattr("foreaft.web.job_routes.silent", _stopped)
        app = make_app(Library(folder / "library"), Rules()).app
        made = schemathesis.openapi.from_asgi("/api/openapi.json", app, base_url="http://127.0.0.1")
        yield made.exclude(path=list(STREAMS))


def _stopped(what: str, done: int, of: int) -> None:
    raise Cancelled


lazy = schemathesis.pytest.from_fixture("schema")


@lazy.parametrize()
@settings(
    max_examples=12,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
def test_no_request_is_answered_by_a_mistake(case: Any) -> None:
    headers = {"Content-Type": "application/octet-stream"} if "/logs/" in case.path else None
    answer = case.call(headers=headers)
    assert answer.status_code < 500 or answer.status_code == 501, answer.text
    if answer.status_code >= 400:
        assert answer.json()["schema"] == "foreaft.error/1"
        assert "Traceback" not in answer.text


def test_every_job_is_in_the_document(tmp_path: Path) -> None:
    app = make_app(Library(tmp_path / "library"), Rules()).app
    from starlette.testclient import TestClient

    told = TestClient(app, base_url="http://127.0.0.1").get("/api/openapi.json").json()
    for name in (*asked.JOBS, "live", "card"):
        route = told["paths"][f"/api/{name}"]["post"]
        assert route["requestBody"]["content"]["application/json"]["schema"]["$ref"]
        assert route["responses"]["200"]["content"]["application/json"]["schema"]
