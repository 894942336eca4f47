"""The job ``read``: bring in a log, say what its channels are and what they allow to say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from foreaft.base.errors import InputError
from foreaft.files.sheet import slug
from foreaft.jobs.common import Notes, envelope
from foreaft.jobs.log_faces import channel_faces, done_faces, run_face
from foreaft.jobs.log_preview import Place, previews
from foreaft.jobs.requests import ReadRequest
from foreaft.logs.clean import NOMINAL_RADIUS_M, ROAD_SPEED
from foreaft.logs.mapping import ENDING, read_mapping, typed, write_mapping
from foreaft.logs.names import PRESSURES, WHEEL_SPEEDS
from foreaft.logs.read import Log, read_log
from foreaft.logs.recording import Recording
from foreaft.model.answers import (
    CanSay,
    ChannelPreview,
    Envelope,
    Input,
    ReadChannel,
    ReadLog,
    ReadSession,
)
from foreaft.model.fields import plain

PLACES: Final = (
    ("latitude_deg", "longitude_deg"),
    ("position_x_m", "position_y_m"),
    ("distance_m",),
)
PEDALS: Final = (
    *((one,) for one in PRESSURES),
    ("brake_pedal_frac",),
    ("pedal_force_N",),
)

SAYS: Final = (
    ("where a zone lies on the circuit", (PLACES,)),
    ("speed and deceleration of each zone", ((("speed_mps",),),)),
    ("how the pedal was hit, held and released", (PEDALS,)),
    ("the pressure share", ((PRESSURES,),)),
    ("lock-ups, wheel by wheel", ((WHEEL_SPEEDS,), (("speed_mps",),))),
    (
        "rotation on entry and running wide",
        ((("yaw_rate_radps",),), (("steer_rad",), ("steering_wheel_rad",))),
    ),
    ("the cornering load while braking", ((("accel_y_mps2",), ("yaw_rate_radps",)),)),
    ("what each setting does", ((("setting",),), PEDALS)),
    ("engine braking by gear", ((("gear",), ("engine_speed_radps",)),)),
)
"""What may be learnt; each needs one set of channels of each of its alternatives."""


def read(request: ReadRequest) -> Envelope[ReadLog]:
    """Bring in a log.

    Raises
    ------
    InputError
        If the log or the mapping is wrong, or a mapping is to be saved that says nothing.
    MissingPart
        If it is an MDF log and the library for it is not installed.
    """
    notes = Notes()
    said = read_mapping(request.mapping) if request.mapping else None
    words = typed(request.maps) if request.maps else None
    log = read_log(request.log, said, words)
    files = [str(_save(request.save_mapping, log, notes))] if request.save_mapping else []
    for recording in log.recordings:
        _warn(recording, notes)
    shown = previews(log.recordings, notes) if request.preview else [{} for _ in log.recordings]
    result = ReadLog(
        form=log.form,
        columns_sha256=log.columns_sha256,
        mapping_file=str(request.mapping) if request.mapping else log.mapping_file,
        sessions=[_session(one, each) for one, each in zip(log.recordings, shown, strict=True)],
        done=done_faces(log.done),
        left_out=[f"{name}: {why}" for name, why in log.left_out],
    )
    place = Input(id=slug(request.log.stem), revision=log.sha256[:12], file=log.file)
    asked = {"log": log.sha256, "mapping": None if log.mapping is None else plain(log.mapping)}
    return envelope("read", result, asked, notes, inputs={"log": place}, files=files)


def _save(path: Path, log: Log, notes: Notes) -> Path:
    """Write down what was said of the columns, for the next log with the same ones."""
    if log.mapping is None:
        raise InputError(
            "There is nothing to write down: nobody has said anything of a column.",
            code="mapping_empty",
            file=path,
            key="save-mapping",
            value="no --map and no mapping",
            allowed="--map, --mapping, or a mapping beside the log",
            unit="",
            hint="What is recognised needs no mapping.",
        )
    if not path.name.endswith(ENDING):
        notes.warn(
            "mapping_name",
            f"a mapping is found beside the next log only if its name ends in {ENDING}",
        )
    mapping = log.mapping.replace(columns_sha256=log.columns_sha256)
    return write_mapping(path, mapping)


def _warn(recording: Recording, notes: Notes) -> None:
    """What the reader of the answer should look at first."""
    session = f"session {recording.session}: " if recording.sessions > 1 else ""
    if "speed_mps" not in recording:
        notes.warn(
            "log_speed_open",
            f"{session}no speed is certain yet: nothing can be said before it is named",
        )
    nominal = [one.what for one in recording.done if one.what.startswith(ROAD_SPEED)]
    if nominal and recording.session == 1:
        notes.assume(
            "wheel_radius_m",
            NOMINAL_RADIUS_M,
            "m",
            "turns the wheels' road speeds into rad/s; their real radii follow from free rolling",
        )


def _session(one: Recording, shown: Mapping[Place, ChannelPreview]) -> ReadSession:
    return ReadSession(
        run=run_face(one),
        channels=[
            ReadChannel(**dict(face), preview=shown.get((face.original_name, face.samples)))
            for face in channel_faces(one)
        ],
        done=done_faces(one.done),
        notes=list(one.notes),
        can_say=can_say(one),
    )


def can_say(recording: Recording) -> list[CanSay]:
    """What this session's channels allow to say, and what is missing for the rest."""
    return [
        CanSay(what=what, can=not missing, missing=missing)
        for what, needs in SAYS
        for missing in [_missing(needs, recording)]
    ]


def _missing(needs: Iterable[Iterable[tuple[str, ...]]], recording: Recording) -> list[str]:
    return [
        " or ".join(" and ".join(n for n in names if n not in recording) for names in ways)
        for ways in needs
        if not any(recording.has(*names) for names in ways)
    ]
