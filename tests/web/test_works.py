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

from foreaft.base.errors import InputError
from foreaft.files.library import Library
from foreaft.jobs.requests import StopRequest
from foreaft.web.app import Parts, make_app
from foreaft.web.asked import JOBS, Job
from foreaft.web.guard import Rules
from foreaft.web.references import translated
from foreaft.web.titles import title_of_work
from foreaft.web.works import KEPT, OTHERS_KEPT, OVER, Works
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
    item = saved.json()["item"]
    assert item["name"] == "Friday", "the name its user gave it"
    assert item["note"].startswith("Halden GT, Eight Corners, Dry, for ")
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


# ---------------------------------------------------------------- what works are called


def titled(parts: Parts, job: str, asked: dict[str, Any]) -> str:
    """What a work of this request would be called."""
    request = JOBS[job].request.model_validate_json(json.dumps(asked))
    return title_of_work(translated(request, parts.library))


MOVED = {"grip_scale": 0.96, "fuel_kg": 20, "changes": 2, "boldness": 1.5, "scatter_scale": 0.5}
ON_ROAD = {"car": "cars/halden-gt", "circuit": "circuits/brackwater"}
TITLES: dict[str, tuple[str, dict[str, Any], str]] = {
    "a plan": ("plan", ON_ROAD, "Halden GT, Brackwater"),
    "what was moved": (
        "plan",
        ON_ROAD | MOVED,
        "Halden GT, Brackwater, grip 96 %, fuel 20 kg, scatter 50 %, boldness 1.5, 2 changes",
    ),
    "one change": ("plan", ON_ROAD | {"changes": 1}, "Halden GT, Brackwater, 1 change"),
    "the usual day": (
        "plan",
        ON_ROAD | {"conditions": ["conditions/dry"]},
        "Halden GT, Brackwater",
    ),
    "rain": (
        "plan",
        ON_ROAD | {"conditions": ["conditions/wet"]},
        "Halden GT, Brackwater, Wet",
    ),
    "two days": (
        "plan",
        ON_ROAD | {"conditions": ["conditions/dry", "conditions/wet"]},
        "Halden GT, Brackwater, Dry and Wet",
    ),
    "a class in typed corners": (
        "plan",
        {"car": "gt-mid", "sheet": "sheets/eight-corners"},
        "Mid-engined GT with wings, Eight Corners",
    ),
    "a class as it is set today": (
        "plan",
        {
            "car": "gt-mid",
            "sheet": "sheets/eight-corners",
            "quick": {"today": 54.5, "higher": "front", "first": "front"},
        },
        "Mid-engined GT with wings, 54.5 today, Eight Corners",
    ),
    "a show": ("show", ON_ROAD | {"zone": "z01"}, "Halden GT, Brackwater, Lintel"),
    "a zone without a name": (
        "limit",
        ON_ROAD | {"zone": "z77"},
        "Halden GT, Brackwater, zone 77",
    ),
    "a debrief": (
        "debrief",
        {"logs": ["logs/a.csv", "logs/b.csv"], "circuit": "circuits/brackwater"},
        "2 logs at Brackwater",
    ),
    "two drivers": (
        "debrief",
        {"logs": ["logs/a.csv"], "driver_name": "Ada", "against": "logs/b.csv"},
        "1 log of Ada against another driver",
    ),
    "learning": (
        "learn",
        {"logs": ["logs/a.csv"], "car": "cars/halden-gt"},
        "Halden GT from 1 log",
    ),
    "a trial designed": ("trial", {"design": {"settings": [54, 55.5, 57]}}, "at 54, 55.5 and 57"),
    "a trial of a sheet": ("trial", {"judge": {"laps": "logs/sunday-laps.csv"}}, "Sunday Laps"),
    "stops": (
        "trial",
        {"stops": {"stops": [{"setting": 54, "first": "front"}] * 3}},
        "3 straight stops",
    ),
    "one stop": ("stop", STOP, "Halden GT from 150 km/h"),
}


@pytest.mark.parametrize("case", TITLES)
def test_a_work_is_called_by_the_names_people_gave(parts: Parts, case: str) -> None:
    job, asked, title = TITLES[case]
    for name in ("a.csv", "b.csv", "sunday-laps.csv"):
        (parts.library.root / "logs" / name).write_text("lap,setting\n1,56\n")
    assert titled(parts, job, asked) == title


def test_a_car_of_another_name_is_called_by_it(parts: Parts) -> None:
    file = parts.library.root / "cars" / "halden-gt.toml"
    text = file.read_text("utf-8")
    file.write_text(text.replace('name = "Halden GT"', 'name = "Old faithful"'), "utf-8")
    assert titled(parts, "plan", ON_ROAD) == "Old faithful, Brackwater"
    file.write_text("nothing of a car", "utf-8")
    assert titled(parts, "plan", ON_ROAD) == "Halden Gt, Brackwater", (
        "the job will say what is wrong"
    )


def test_laps_of_a_debrief_are_called_by_it(parts: Parts) -> None:
    folder = parts.library.root / "works" / "debrief-20260101-000000-abcdef"
    folder.mkdir()
    (folder / "debrief.json").write_text("{}")
    asked = {"judge": {"laps": f"works/{folder.name}/debrief.json"}}
    assert titled(parts, "trial", asked) == "Debrief", "of a work whose state is lost"
    (folder / "state.json").write_text(json.dumps({"title": "2 logs at Brackwater"}))
    assert titled(parts, "trial", asked) == "laps of 2 logs at Brackwater"


# ---------------------------------------------------------------- what is listed


def done_at_once(parts: Parts, client: TestClient, asked: StopRequest, **more: Any) -> str:
    gate = Gate()
    gate.open.set()
    name = parts.works.start(gate.job("quick"), asked, **more)
    assert ended(client, name)["state"] == "done"
    return name


def listed(client: TestClient) -> list[str]:
    return [one["work_id"] for one in client.get("/api/work").json()]


def test_of_works_asked_the_same_the_newest_is_listed(parts: Parts, client: TestClient) -> None:
    other = done_at_once(parts, client, ASKED.model_copy(update={"from_kmh": 200}))
    first = done_at_once(parts, client, ASKED)
    second = done_at_once(parts, client, ASKED)
    assert set(listed(client)) == {other, second}
    assert client.get(f"/api/work/{first}/answer").status_code == 200, (
        "and the other is still there"
    )
    gate = Gate()
    begun = parts.works.start(gate.job("quick"), ASKED)
    assert set(listed(client)) == {other, second, begun}, "under way"
    client.delete(f"/api/work/{begun}")
    ended(client, begun, 30)
    assert set(listed(client)) == {other, second}, "what was stopped has nothing to show"
    again = done_at_once(parts, client, ASKED)
    assert set(listed(client)) == {other, again}


def test_a_failure_hides_no_answer_to_the_same(parts: Parts, client: TestClient) -> None:
    done = done_at_once(parts, client, ASKED)

    def run(*_: Any) -> Any:
        raise InputError("No.", code="no", key="k", value="v", allowed="", hint="None.")

    failing = Job("stop", "", StopRequest, None, "quick", run)
    first, second = (parts.works.start(failing, ASKED) for _ in range(2))
    assert ended(client, first)["state"] == ended(client, second)["state"] == "failed"
    assert listed(client) == [second, done]


def test_what_was_sent_is_told_so_that_a_page_knows_its_own(client: TestClient) -> None:
    work = begun(client, "stop", STOP)
    ended(client, work)
    [state] = client.get("/api/work").json()
    assert state["asked"] == STOP


def test_a_work_begun_unlisted_is_followed_but_not_listed(parts: Parts, client: TestClient) -> None:
    answer = client.post("/api/work/stop?listed=false", json=STOP)
    work = answer.json()["work_id"]
    assert ended(client, work)["state"] == "done"
    assert client.get(f"/api/work/{work}/answer").status_code == 200
    assert listed(client) == []
    same = begun(client, "stop", STOP)
    ended(client, same)
    assert listed(client) == [same], "asked again by somebody who looks for it"


def test_unlisted_works_push_nothing_out(parts: Parts, client: TestClient) -> None:
    first = done_at_once(parts, client, ASKED)
    for _ in range(KEPT + 5):
        done_at_once(parts, client, ASKED, listed=False)
    assert listed(client) == [first]
    there = list((parts.library.root / "works").iterdir())
    assert len(there) <= OTHERS_KEPT + 2


def test_a_plan_that_was_kept_names_its_work(parts: Parts, client: TestClient) -> None:
    works = [begun(client, "plan", PLAN) for _ in range(3)]
    for one in works:
        ended(client, one)
    assert listed(client) == works[-1:]
    value = client.get(f"/api/work/{works[0]}/answer").json()

    def keep(name: str) -> dict[str, Any]:
        saved = client.put(f"/api/library/plans/{name}", json={"value": value, "based_on": None})
        item: dict[str, Any] = saved.json()["item"]
        return item

    def names() -> dict[str, str]:
        return {one["work_id"]: one["kept_as"] for one in client.get("/api/work").json()}

    usual = keep("halden-gt-eight-corners-dry")
    assert usual["name"] == "Halden GT, Eight Corners, Dry", "of the usual name as it is written"
    assert names() == {works[0]: "plans/halden-gt-eight-corners-dry", works[-1]: ""}
    own = keep("sunday-race")
    assert names()[works[0]] == "plans/sunday-race", "the one saved last"
    for item in (usual, own):
        client.delete(f"/api/library/plans/{item['id']}?based_on={item['revision']}")
    assert names() == {works[-1]: ""}, "what was taken out of the library is kept no more"


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
    for speed in range(100, 100 + KEPT + 5):
        name = parts.works.start(gate.job("quick"), ASKED.model_copy(update={"from_kmh": speed}))
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
print(works.start(gate.job(), ASKED.model_copy(update={"from_kmh": 120})), flush=True)
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
