"""Requests nobody would send: whatever comes, the server answers with an answer or an error."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode

from foreaft.base.errors import Cancelled
from foreaft.files.library import Library
from foreaft.web import asked
from foreaft.web.app import make_app
from foreaft.web.guard import Rules

STREAMS = ("/api/changes", "/api/work/{work_id}/events")
"""They end only with the work, or never."""


EXAMPLES = settings(
    max_examples=10,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


def _stopped(what: str, done: int, of: int) -> None:
    """Progress of jobs that are not to take long: they stop at its first sign."""
    raise Cancelled


@pytest.mark.slow
def test_no_request_is_answered_by_a_mistake(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FOREAFT_DATA", str(tmp_path / "data"))
    monkeypatch.setattr("foreaft.web.job_routes.silent", _stopped)
    rules = Rules(hosts=("testserver", "localhost"))
    app = make_app(Library(tmp_path / "library"), rules).app
    schema = schemathesis.openapi.from_asgi("/api/openapi.json", app)
    statuses: set[int] = set()
    seen = 0

    def check(case: Any) -> None:
        headers = {"Content-Type": "application/octet-stream"} if "/logs/" in case.path else None
        answer = case.call(headers=headers)
        statuses.add(answer.status_code)
        assert answer.status_code < 500 or answer.status_code == 501, answer.text
        if answer.status_code >= 400:
            assert answer.json()["schema"] == "foreaft.error/1"
            assert "Traceback" not in answer.text

    for result in schema.get_all_operations():
        operation = result.ok()
        if operation.path in STREAMS:
            continue
        seen += 1
        EXAMPLES(given(operation.as_strategy())(check))()
        with contextlib.suppress(Unsatisfiable):  # where nothing is asked nothing can be wrong
            wrong = operation.as_strategy(generation_mode=GenerationMode.NEGATIVE)
            EXAMPLES(given(wrong)(check))()
    assert seen > 40
    assert {200, 400, 404, 422} <= statuses, "some requests get through, others are refused"


def test_every_job_is_in_the_document(tmp_path: Path) -> None:
    app = make_app(Library(tmp_path / "library"), Rules()).app
    from starlette.testclient import TestClient

    told = TestClient(app, base_url="http://127.0.0.1").get("/api/openapi.json").json()
    for name in (*asked.JOBS, "live", "card"):
        route = told["paths"][f"/api/{name}"]["post"]
        assert route["requestBody"]["content"]["application/json"]["schema"]["$ref"]
        assert route["responses"]["200"]["content"]["application/json"]["schema"]
