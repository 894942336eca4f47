"""Works: followed to their end, cancelled, failed, and found again after the server has died."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from starlette.testclient import TestClient

from foreaft.files.library import Library
from foreaft.jobs.requests import StopRequest
from foreaft.web.app import Parts, make_app
from foreaft.web.asked import Job
from foreaft.web.guard import Rules
from foreaft.web.works import KEPT, OVER, Works
from logs import made
from machine import slowness
from web.conftest import refused, serving

STOP = {"car": "cars/halden-gt", "from_kmh": 150}
PLAN = {"car": "cars/halden-gt", "sheet": "sheets/eight-corners", "samples": 0}


def ended(client: TestClient, work_id: str, within_s: float = 900.0) -> dict[str, Any]:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        state: dict[str, Any] = client.get(f"/api/work/{work_id}").json()
        if state["state"] in OVER:
            return state
        time.sleep(0.02)
    raise AssertionError(f"{work_id} has not ended: {state}")


def begun(client: TestClient, job: str, asked: dict[str, Any]) -> str:
    answer = client.post(f"/api/work/{job}", json=asked)
    assert answer.status_code == 200, answer.text
    return str(answer.json()["work_id"])


def test_a_work_gives_the_answer_its_job_gives_at_once(client: TestClient) -> None:
    work = begun(client, "stop", STOP)
    state = ended(client, work)
    assert (state["state"], state["error"], state["files"]) == ("done", None, [])
    assert client.get(f"/api/work/{work}/answer").text == client.post("/api/stop", json=STOP).text
    assert [one["work_id"] for one in client.get("/api/work").json()] == [work]


def test_products_are_those_of_the_command_line(client: TestClient, parts: Parts) -> None:
    work = begun(client, "plan", PLAN)
    state = ended(client, work)
    assert {"plan.json", "briefing.pdf", "briefing.html", "sticker.pdf"} <= set(state["files"])
    told = client.get(f"/api/work/{work}/answer").json()
    assert sorted(told["files"]) == [f"works/{work}/{name}" for name in state["files"]]
    page = client.get(f"/api/work/{work}/files/briefing.html")
    assert page.text.startswith("<!")
    assert "sandbox allow-scripts" in page.headers["content-security-policy"]
    assert (
        "sandbox"
        not in client.get(f"/api/work/{work}/files/briefing.pdf").headers["content-security-policy"]
    )
    for name in ("state.json", ".lock", "../.begun", "nothing"):
        refused(client.get(f"/api/work/{work}/files/{name}"), 404)


def test_a_plan_of_a_work_is_asked_for_by_its_id(client: TestClient) -> None:
    work = begun(client, "plan", PLAN)
    ended(client, work)
    asked = {"plan": f"works/{work}", "product": "sticker", "format": "svg"}
    pages = client.post("/api/card", json=asked).json()["pages"]
    assert len(pages) == 1
    assert "<svg" in pages[0]
    two = client.post("/api/card", json=asked | {"wet": f"works/{work}"}).json()["pages"]
    assert len(two) == 2
    pdf = client.post("/api/card", json=asked | {"format": "pdf"})
    assert (pdf.headers["content-type"], pdf.content[:5]) == ("application/pdf", b"%PDF-")
    briefing = client.post("/api/card", json=asked | {"product": "briefing", "format": "png"})
    assert briefing.content[:8] == b"\x89PNG\r\n\x1a\n"
    [drawn] = client.post("/api/card", json=asked | {"product": "briefing"}).json()["pages"]
    assert "<svg" in drawn
    refused(client.post("/api/card", json=asked | {"plan": "works/none"}), 400)
    text = client.get(f"/api/work/{work}/files/plan.json").text
    saved = client.put("/api/library/plans/friday", json={"text": text, "based_on": None})
    assert saved.json()["item"]["name"] == "Halden GT, Eight Corners, Dry"
    again = client.post("/api/card", json=asked | {"plan": "plans/friday"})
    assert again.json()["pages"] == pages


def test_a_work_that_fails_says_what_its_job_says(client: TestClient) -> None:
    asked = {"car": "gt-mid", "sheet": "sheets/eight-corners", "samples": 0}
    state = ended(client, begun(client, "plan", asked))
    assert state["state"] == "failed"
    assert state["error"] == refused(client.post("/api/plan", json=asked), 422)
    told = refused(client.get(f"/api/work/{state['work_id']}/answer"), 409)
    assert told["value"] == "failed"
    asked["car"] = "cars/none"
    refused(client.post("/api/work/plan", json=asked), 404)
    assert len(client.get("/api/work").json()) == 1, "what names nothing is no work"


# ---------------------------------------------------------------- works that wait to be told


class Gate:
    """A job that goes on only when told to."""

    def __init__(self) -> None:
        self.open = threading.Event()
        self.entered = threading.Event()

    def job(self, lane: Any = "heavy") -> Job:
        def run(asked: Any, out: Any, progress: Any, cancelled: Any) -> Any:
            self.entered.set()
            for number in range(10_000):
                progress("turn", number, 10_000)
                if self.open.wait(0.005):
                    break
            from foreaft.jobs.stop import stop

            return stop(asked)

        return Job("stop", "", StopRequest, None, lane, run)


ASKED = StopRequest(car="cars/halden-gt", from_kmh=150)


def test_a_running_work_is_cancelled(parts: Parts, client: TestClient) -> None:
    gate = Gate()
    work = parts.works.start(gate.job(), ASKED)
    assert gate.entered.wait(30)
    assert client.get(f"/api/work/{work}").json()["state"] == "running"
    client.delete(f"/api/work/{work}")
    state = ended(client, work, 10)
    assert (state["state"], state["error"]["code"]) == ("cancelled", "cancelled")
    client.delete(f"/api/work/{work}")
    assert client.get(f"/api/work/{work}").json() == state


@pytest.mark.parametrize("job", ["debrief", "learn"])
def test_reading_logs_is_stopped_in_the_middle(
    parts: Parts, client: TestClient, tmp_path: Path, job: str
) -> None:
    logs = []
    for number in range(60):
        columns = made.run() | {"extra": np.full(7500, float(number))}
        file = made.write_csv(tmp_path / f"{number}.csv", columns)
        (parts.library.root / "logs" / file.name).write_bytes(file.read_bytes())
        logs.append(f"logs/{file.name}")
    work = begun(client, job, {"logs": logs, "car": "cars/halden-gt"})
    until = time.monotonic() + 60.0
    while client.get(f"/api/work/{work}").json()["done"] < 2 and time.monotonic() < until:
        time.sleep(0.02)
    asked_at = time.monotonic()
    client.delete(f"/api/work/{work}")
    state = ended(client, work, 30)
    assert state["state"] == "cancelled", state
    assert 0 < state["done"] < len(logs), "in the middle"
    assert time.monotonic() - asked_at < 2.0 * max(1.0, slowness())
    assert state["files"] == []
    refused(client.get(f"/api/work/{work}/answer"), 409)


def test_what_a_work_was_asked_is_told(client: TestClient) -> None:
    work = begun(client, "stop", STOP)
    ended(client, work)
    told = client.get(f"/api/work/{work}/request").json()
    assert told["car"] == STOP["car"]
    assert told["from_kmh"] == STOP["from_kmh"]
    refused(client.get("/api/work/stop-20260101-000000-abcdef/request"), 404)


def test_a_trial_is_called_by_its_laps(parts: Parts, client: TestClient) -> None:
    (parts.library.root / "logs" / "laps.csv").write_text("lap,setting\n1,56\n")
    work = begun(client, "trial", {"judge": {"laps": "logs/laps.csv"}})
    assert ended(client, work)["title"] == "Trial: laps.csv"


def test_one_at_a_time_and_the_quick_ones_beside_it(parts: Parts, client: TestClient) -> None:
    first, second, quick = Gate(), Gate(), Gate()
    works = parts.works
    names = [works.start(one.job(), ASKED) for one in (first, second)]
    beside = works.start(quick.job("quick"), ASKED)
    assert first.entered.wait(30)
    assert quick.entered.wait(30)
    assert [works.state(one).state for one in (*names, beside)] == [
        "running",
        "waiting",
        "running",
    ]
    client.delete(f"/api/work/{names[1]}")
    assert works.state(names[1]).state == "cancelled"
    first.open.set()
    quick.open.set()
    assert ended(client, names[0])["state"] == ended(client, beside)["state"] == "done"
    assert not second.entered.is_set()


def test_only_the_last_are_kept(parts: Parts, client: TestClient) -> None:
    gate = Gate()
    gate.open.set()
    for _ in range(KEPT + 5):
        name = parts.works.start(gate.job("quick"), ASKED)
        ended(client, name)
    assert len(client.get("/api/work").json()) in (KEPT, KEPT + 1)
    assert len(list((parts.library.root / "works").iterdir())) in (KEPT, KEPT + 1)


# ---------------------------------------------------------------- after a death

DYING = """
import sys, time
from pathlib import Path
sys.path.insert(0, "tests")
from web.test_works import ASKED, Gate
from foreaft.files.library import Library
from foreaft.web.works import Works
works, gate = Works(Library(Path(sys.argv[1]))), Gate()
print(works.start(gate.job(), ASKED), flush=True)
print(works.start(gate.job(), ASKED), flush=True)
time.sleep(60)
"""


def test_what_ran_when_the_server_died_is_interrupted(parts: Parts, client: TestClient) -> None:
    done = ended(client, begun(client, "stop", STOP))
    words = [sys.executable, "-c", DYING, str(parts.library.root)]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    names = [process.stdout.readline().strip() for _ in range(2)]
    living = [client.get(f"/api/work/{one}").json()["state"] for one in names]
    assert all(one in ("waiting", "running") for one in living), "another server's work lives"
    process.kill()
    process.wait()
    again = TestClient(make_app(parts.library, Rules()).app, base_url="http://127.0.0.1")
    told = {one["work_id"]: one["state"] for one in again.get("/api/work").json()}
    assert told == {names[0]: "interrupted", names[1]: "interrupted", done["work_id"]: "done"}
    kept = again.get(f"/api/work/{done['work_id']}/answer")
    assert kept.json()["schema"] == "foreaft.stop/1"


def test_a_state_that_cannot_be_read_hides_no_other(parts: Parts, client: TestClient) -> None:
    done = ended(client, begun(client, "stop", STOP))
    broken = parts.library.root / "works" / "plan-20260101-000000-abcdef"
    broken.mkdir()
    (broken / "state.json").write_text("{")
    again = Works(Library(parts.library.root))
    assert [one.work_id for one in again.states()] == [done["work_id"]]


# ---------------------------------------------------------------- a server in its own process


@pytest.mark.slow
def test_events_are_told_as_they_happen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("FOREAFT_DATA", raising=False)
    with (
        serving(tmp_path / "library") as served,
        httpx.Client(base_url=served.address, timeout=600) as http,
    ):
        work = http.post("/api/work/plan", json=PLAN | {"samples": 8}).json()["work_id"]
        states = []
        with http.stream("GET", f"/api/work/{work}/events", timeout=900) as events:
            assert events.headers["content-type"].startswith("text/event-stream")
            for line in events.iter_lines():
                if line.startswith("data: "):
                    states.append(json.loads(line.removeprefix("data: ")))
        assert states[-1]["state"] == "done", states[-1]
        assert len(states) > 2
        assert states == sorted(states, key=lambda one: one["seconds"])
        _sees_changes(http, tmp_path / "library")
        assert not (tmp_path / "library" / "history").exists()


def _sees_changes(http: httpx.Client, library: Path) -> None:
    """Another process writes into the library: an open page is told within a few seconds."""
    with http.stream("GET", "/api/changes", timeout=60) as changes:
        lines = changes.iter_lines()
        assert next(lines) == ": here"
        time.sleep(0.5)  # for the first look
        (library / "conditions" / "damp.toml").write_text(
            'schema = "foreaft.conditions/1"\nid = "damp"\nname = "Damp"\n'
        )
        told = next(line for line in lines if line.startswith("data: "))
        happened = json.loads(told.removeprefix("data: "))
        assert (happened["kind"], happened["id"]) == ("conditions", "damp")
        assert (
            happened["revision"]
            == http.get("/api/library/conditions/damp").json()["item"]["revision"]
        )
