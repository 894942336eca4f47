"""The JSON that is promised: the fields others script against, and real answers by the schemas.

The fields below are the promise itself, written down apart from the code that keeps it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from docs.conftest import Run
from docs.pages import DOCS

SCHEMAS = {
    path.name.removesuffix(".schema.json"): json.loads(path.read_text("utf-8"))
    for path in sorted((DOCS / "reference" / "schemas").glob("*.schema.json"))
}

ENVELOPE = """schema version model_version request_sha256 seed inputs assumptions warnings cautions
files result"""
ZONE = """zone_id name direction brake_s_m turn_in_s_m release_s_m apex_s_m approach_speed_mps
apex_speed_mps apex_radius_m depth_frac hand_time_s"""
PROMISED = {
    "inputs.*": "id revision file",
    "assumptions": "key value unit source",
    "warnings": "code text zone_id",
}
RESULTS = {
    "learn": {
        "": "parameters correlation car_file draws_file",
        "parameters": """key setting unit prior_low prior_high estimate low_90 high_90 verdict
        because would_settle""",
        "correlation": "keys matrix",
    },
    "plan": {
        "": """adjuster changes_max change_cost_s price_front_s price_rear_s zones steps total
        lap_setting frontier matters samples""",
        "adjuster": "min max step higher_means meaning seconds_per_step_s",
        "zones": ZONE
        + """ setting setting_sure_frac front_share_frac ideal_share_brake_frac
        ideal_share_turn_in_frac ideal_share_release_frac limiting_axle limiting_phase margin_frac
        p_front p_rear reason field""",
        "zones.field": """setting front_share_frac feasible time_s brake_distance_m
        first_lock_decel_mps2 first_lock_wheel p_front p_rear cost_us""",
        "steps": "from_zone_id to_zone_id steps hand_needed_s hand_time_s",
        "total": "changes cost_us time_s",
        "lap_setting": "setting cost_us regret_s",
        "lap_setting.regret_s": "low nominal high",
        "frontier": "changes cost_us settings",
        "matters": "key share_of_spread_frac measurement",
    },
    "stop": {
        "": "from_speed_mps to_speed_mps settings best_setting",
        "settings": """setting front_share_frac distance_m time_s mfdd_mps2 first_lock_decel_mps2
        limiting_axle reserve_front_frac reserve_rear_frac efficiency_frac""",
    },
    "ideal": {
        "": "model points settings road",
        "points": """decel_mps2 speed_mps lateral_mps2 yaw_accel_radps2 feasible limit
        ideal_share_frac window_low_frac window_high_frac utilisation_front_frac
        utilisation_rear_frac efficiency_frac""",
        "settings": "setting front_share_frac",
        "road": "crossover_decel_mps2 rear_above_front passes",
    },
    "zones": {
        "": "circuit lap_time_s zones",
        "circuit": "length_m closed climb_m line",
        "zones": ZONE,
    },
    "advise": {
        "": "zone_id from_setting to_setting because narrowed cannot_tell",
        "narrowed": "key low high",
    },
    "trial": {
        "": "design verdict",
        "design.sheet": "lap stint setting counts",
        "verdict.comparisons": "endpoint setting against pairs effect low high p_adjusted verdict",
    },
    "debrief": {
        "": "run channels done laps passes events cannot_tell work_on",
        "run": "run_id sha256 samples duration_s",
        "channels": "name original_name original_unit rate_hz state",
        "done": "what channel count",
        "laps": "lap_id start_s duration_s kind",
        "passes": """lap_id zone_id brake_s_m approach_speed_mps min_speed_mps brake_distance_m
        brake_distance_nominal_m mfdd_mps2 peak_decel_mps2 depth_frac grip_use_frac
        pressure_share_frac time_s lost_s""",
        "events": "lap_id zone_id kind axle wheel start_s duration_s confidence_frac channels",
        "cannot_tell": "what because would_settle",
        "work_on": "zone_id text gain_s",
    },
}
ERROR = "schema code message file line key value allowed unit hint"

WORDS = {
    ("plan", "result.adjuster.higher_means"): {"front", "rear"},
    ("plan", "result.zones.direction"): {"left", "right", "none"},
    ("plan", "result.zones.limiting_axle"): {"front", "rear"},
    ("plan", "result.zones.limiting_phase"): {"straight", "turning", "releasing"},
    ("stop", "result.settings.limiting_axle"): {"front", "rear"},
    ("ideal", "result.model"): {"two_axle", "four_wheel"},
    ("ideal", "result.points.limit"): {"none", "front", "rear", "lateral"},
    ("debrief", "result.channels.state"): {"used", "ignored", "asked"},
    ("debrief", "result.laps.kind"): {"full", "in", "out", "slow", "partial"},
    ("debrief", "result.events.kind"): {"lock_up", "rotation", "wide", "unused", "double_stab"},
    ("zones", "result.circuit.line"): {"given", "driven", "min_curvature"},
}


def resolve(schema: dict[str, Any], node: dict[str, Any]) -> dict[str, Any]:
    """Follow references, lists and "or null" down to what stands there."""
    while True:
        if "$ref" in node:
            node = schema["$defs"][node["$ref"].rpartition("/")[2]]
        elif "anyOf" in node:
            node = next(one for one in node["anyOf"] if one.get("type") != "null")
        elif node.get("type") == "array" and "items" in node:
            node = node["items"]
        else:
            return node


def at(schema: dict[str, Any], path: str) -> dict[str, Any]:
    """Give what a schema says of a dotted path; ``*`` is any key."""
    node = schema
    for part in filter(None, path.split(".")):
        node = resolve(schema, node)
        node = node["additionalProperties"] if part == "*" else node["properties"][part]
    return resolve(schema, node)


@pytest.mark.parametrize("job", list(RESULTS))
def test_promised_fields_are_there(job: str) -> None:
    schema = SCHEMAS[job]
    assert set(ENVELOPE.split()) <= set(schema["required"])
    wanted = PROMISED | {
        f"result.{path}".rstrip("."): fields for path, fields in RESULTS[job].items()
    }
    for path, fields in wanted.items():
        there = at(schema, path)["properties"]
        assert set(fields.split()) <= set(there), f"{job}: {path}"
    assert schema["properties"]["schema"] == {"const": f"foreaft.{job}/1", "title": "Schema"}


def test_promised_fields_of_an_error_are_there() -> None:
    assert set(ERROR.split()) == set(SCHEMAS["error"]["required"])


@pytest.mark.parametrize(("job", "path"), list(WORDS), ids=str)
def test_promised_words_are_among_those_said(job: str, path: str) -> None:
    assert set(at(SCHEMAS[job], path)["enum"]) == WORDS[job, path]


@pytest.mark.parametrize("name", list(SCHEMAS))
def test_schemas_are_schemas(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[name])


def validate(job: str, answer: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator(SCHEMAS[job]).validate(answer)


CAR, CIRCUIT = "--car d/car.toml", "--circuit d/brackwater.csv"
QUICK = "--car gt-mid --sheet d/sheet.csv --today 54 --higher front --first front"
MILL = f"{CAR} {CIRCUIT} --zone Mill --symptom loose-on-entry --setting 53"
ANSWERS = [
    ("plan", f"plan {CAR} {CIRCUIT} --samples 8"),
    ("plan", f"plan {CAR} {CIRCUIT} --samples 0 --conditions d/dry.toml --conditions d/wet.toml"),
    ("plan", f"plan {QUICK} --samples 8"),
    ("stop", f"stop {CAR} --from-kmh 200 --to-kmh 60"),
    ("stop", "stop --car gt-mid --from-kmh 200 --share 0.68"),
    ("ideal", f"ideal {CAR} --decel-g 0.4 1.2 3 --lateral-g 0 1.2"),
    ("ideal", f"ideal {CAR} --model two-axle --road-rule"),
    ("zones", f"zones {CAR} {CIRCUIT}"),
    ("advise", f"advise {MILL} --samples 20"),
    ("history", f"advise {CAR} {CIRCUIT} --history"),
    ("trial", "trial design --settings 56 53 --higher front --incidents 0.2 0.05"),
    ("trial", "trial stops --higher front --stop 56 front --stop 55 rear"),
    ("limit", f"limit {CAR} --sheet d/sheet.csv --zone z01 --points 40"),
    ("show", f"show {CAR} {CIRCUIT} --zone Mill --steps 3 --repeat 5 --samples 0"),
    ("record", f"record {CAR} --stops 1 --setting 52 --out log"),
    ("read", "read stops/*.csv"),
    ("learn", f"learn stops/*.csv {CAR}"),
    ("check", "check d/car.toml d/sheet.csv d/zones.csv"),
    ("new", "new car mine.toml --class coupe-rear-drive"),
    ("classes", "classes"),
    ("doctor", "doctor"),
]
REFUSED = [
    (2, "plan --car no-such-class --sheet d/sheet.csv"),
    (2, "stop --car gt-mid --from-kmh 60 --to-kmh 200 --share 0.7"),
    (2, "check d/LICENSE.csv"),
    (2, f"plan {QUICK} --samples -1"),
    (4, "plan --car gt-mid --sheet d/sheet.csv"),
]


@pytest.mark.slow
@pytest.mark.parametrize(("job", "command"), ANSWERS, ids=[c for _, c in ANSWERS])
def test_real_answers_are_as_promised(job: str, command: str, shell: Run) -> None:
    shell("cp -r src/foreaft/data/demo d")
    if job in ("read", "learn"):
        shell(f"foreaft record {CAR} --stops 1 --setting 52 --out stops")
    done = shell(f"foreaft {command} --json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    for answer in found if isinstance(found, list) else [found]:
        validate(job, answer)
        assert answer["cautions"]


@pytest.mark.slow
@pytest.mark.parametrize(("code", "command"), REFUSED, ids=[c for _, c in REFUSED])
def test_real_errors_are_as_promised(code: int, command: str, shell: Run) -> None:
    shell("cp -r src/foreaft/data/demo d")
    done = shell(f"foreaft {command} --json")
    assert done.returncode == code, done.stdout + done.stderr
    validate("error", json.loads(done.stdout))


@pytest.mark.slow
def test_what_the_demo_leaves_is_as_promised(demo: tuple[str, Path]) -> None:
    for file in (demo[1] / "plan.json", demo[1] / "wet" / "plan.json"):
        validate("plan", json.loads(file.read_text("utf-8")))


def test_a_slip_is_seen() -> None:
    good = dict.fromkeys(ERROR.split()) | {
        "schema": "foreaft.error/1",
        "code": "x",
        "message": "x",
        "hint": "",
    }
    validate("error", good)
    for bad in (good | {"schema": "foreaft.error/2"}, good | {"more": 1}, good | {"code": None}):
        with pytest.raises(jsonschema.ValidationError):
            validate("error", bad)
